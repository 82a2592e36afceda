"""Lines of settings that YAML can't read though anybody can: no colon, another sign for it, no space after it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from tercet.errors import Edit
from tercet.song.mistakes import MistakeBook
from tercet.song.model import Source

__all__ = ["note_setting_lines"]

_SPACES = "\u00a0\u2000-\u200a\u202f\u3000"
_NAME = r"(?P<name>[A-Za-z][A-Za-z-]*(?: signature)?)"
_NO_COLON = re.compile(rf"{_NAME}(?P<slip>\s+)[^\s:=：][^:：]*$")
_OTHER_SIGN = re.compile(rf"{_NAME}(?P<slip>\s*(?:[=：﹕]|:=|:[{_SPACES}]+)\s*)\S")
_NO_SPACE = re.compile(rf"{_NAME}(?P<slip>:)[^\s:]")
_COMMENT = re.compile(r"\s*(?P<slip>//+|;+)")
_HEADING = re.compile(r"\[(?P<inner>[^\W\d][\w -]*)\]")
_BRACKETS = re.compile(r"\s+(?P<slip>\[(?P<inner>[^\W\d][\w -]*)\]):\s*\|?\s*$")


@dataclass(frozen=True, slots=True)
class _Slip:
    """What is wrong with a part of a line, from one place to another, and what to write there."""

    message: str
    start: int
    end: int
    write: str | None
    mend: str = ""


def note_setting_lines(lines: list[str], names: Mapping[str, str], book: MistakeBook) -> bool:
    """Note the lines that YAML can't read as they are meant; return whether there are any.

    Parameters
    ----------
    lines
        The file's.
    names
        What settings are called, written small, with all other words for them.
    book
        Where mistakes are noted.
    """
    count = len(book)
    named = any(line.casefold().startswith(book.kind.first) for line in lines)
    nameless = not named and any(":" in line for line in lines)
    first = next((number for number, line in enumerate(lines, 1) if line.strip() and line[0] != "#"), 0)
    for number, line in enumerate(lines, 1):
        slip = _bare_name(line, book.kind.first) if nameless and number == first else None
        slip = slip or _slip(line, names)
        if slip is not None:
            place = Source(number, slip.start + 1, max(slip.end - slip.start, 1))
            write = slip.write
            edits = () if write is None else (Edit(number, slip.start + 1, number, slip.end + 1, write),)
            book.add(slip.message, place, mend=slip.mend, edits=edits)
    return len(book) > count


def _bare_name(line: str, setting: str) -> _Slip | None:
    """Return the slip of a first line that is nothing but the name of the song, or of the class."""
    if not re.fullmatch(r"[^\W\d_a-z][^:|=#\[\]{}]*", line):
        return None
    return _Slip(f"a name stands after `{setting}:`", 0, len(line.rstrip()), f"{setting}: {line.rstrip()}")


def _slip(line: str, names: Mapping[str, str]) -> _Slip | None:
    if match := _COMMENT.match(line):
        return _Slip("a comment starts with #", match.start("slip"), match.end("slip"), "#")
    if match := _HEADING.fullmatch(line.rstrip()):
        name = "-".join(match["inner"].split())
        how = f"write sections: on a line of its own, under it `  {name}: |`, and the rows four spaces in"
        return _Slip("a section's name isn't a heading in brackets", 0, match.end(), None, how)
    if match := _BRACKETS.match(line):
        name = "-".join(match["inner"].split())
        return _Slip("a section's name stands without brackets", match.start("slip"), match.end("slip"), name)
    for pattern, message, write in (
        (_NO_COLON, "a colon is missing after the name", ": "),
        (_OTHER_SIGN, "a plain colon and a space stand after the name", ": "),
        (_NO_SPACE, "a space is missing after the colon", ": "),
    ):
        match = pattern.match(line)
        if match and match["name"].casefold() in names:
            start, end = match.span("slip")
            return _Slip(message, start, end, write)
    return None
