"""A file line by line: words, directives with what they say, and where each song of a book starts."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from tercet.exchange.chordpro.directives import OWN, environment_of, known_directive
from tercet.exchange.leadsheet import TuneError
from tercet.wording import counted

__all__ = ["DirectiveLine", "WordLine", "looks_like_chordpro", "read_lines", "songs_of", "with_codes"]

MOST_LINES = 20_000
"""A thick songbook; one song has a hundred."""

LONGEST = 4000
"""Signs of a line, where a song's line of words has eighty."""

_DIRECTIVE = re.compile(r"\{\s*([A-Za-z]\w*)(-\w+!?)?\s*(?::|\s|(?=\}|$))\s*(.*?)\s*(\}?)\s*")
_ATTRIBUTE = re.compile(r"""(\w+)\s*=\s*(?:"([^"]*)"|'([^']*)'|(\S+))""")
_CODE = re.compile(r"\\u([0-9A-Fa-f]{4})")
_MARKUP = re.compile(r"</?[A-Za-z][^<>]{0,200}>|%\{[^{}]{0,200}\}")
_WHOLE = re.compile(r"^[ \t]*\{\s*(\w+)(?:-\w+!?)?\s*(?:[:\s][^{}\n]*)?\}[ \t]*$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class DirectiveLine:
    """A directive: the line it stands on, its full name (as written where it isn't known), and what it says.

    `told` is its argument, or the label where it has one; `attributes` are its pairs of name and text.
    """

    number: int
    name: str
    told: str
    attributes: tuple[tuple[str, str], ...] = ()
    closed: bool = True

    def attribute(self, name: str) -> str:
        """Return the text of an attribute; empty for none."""
        return dict(self.attributes).get(name, "")


@dataclass(frozen=True, slots=True)
class WordLine:
    """A line of words with their chords, or an empty one."""

    number: int
    text: str


def looks_like_chordpro(text: str) -> bool:
    """Return whether a file has a line that is nothing but a directive of the standard, or chords in brackets."""
    names = (found[1] for found in _WHOLE.finditer(text))
    return any(known_directive(name) or environment_of(name) or name.startswith(OWN) for name in names)


def read_lines(text: str, file: str) -> Iterator[DirectiveLine | WordLine]:
    """Yield the lines of a file; those that go on behind a backslash as one, remarks (``#``) not at all.

    Raises
    ------
    TuneError
        When it has more than `MOST_LINES`, or one longer than `LONGEST`.
    """
    lines = re.split(r"\r\n|[\r\n]", text)
    if len(lines) > MOST_LINES:
        raise TuneError(
            f"{file} has {counted(len(lines), 'line')}: cut it into books of at most {MOST_LINES}"
        )
    number, whole = 0, ""
    for place, line in enumerate(lines, 1):
        number = number or place
        whole += line.lstrip() if whole else line
        if len(whole) > LONGEST:
            raise TuneError(
                f"line {number} of {file} has more than {LONGEST} signs: write each line of the song on one of its own"
            )
        if whole.endswith("\\") and place < len(lines):
            whole = whole[:-1]
            continue
        if not whole.startswith("#"):
            yield _line(number, _MARKUP.sub("", whole))
        number, whole = 0, ""


def _line(number: int, text: str) -> DirectiveLine | WordLine:
    match = _DIRECTIVE.fullmatch(text.strip()) if text.lstrip().startswith("{") else None
    if match is None:
        return WordLine(number, text.expandtabs(8).rstrip())
    known = known_directive(match[1])
    name = known.name if known else match[1].casefold()
    told = with_codes(match[3])
    attributes = tuple(
        (found[1], found[2] or found[3] or found[4] or "") for found in _ATTRIBUTE.finditer(told)
    )
    if environment_of(name) or name == "chorus":
        told = dict(attributes).get("label", "" if attributes else told)
    return DirectiveLine(
        number, name, told.strip("\"'") if not attributes else told, attributes, bool(match[4])
    )


def with_codes(text: str) -> str:
    r"""Return a text with its codes as the signs that they stand for: ``\u00e9``.

    >>> with_codes(r"caf\u00e9")
    'café'
    """
    return _CODE.sub(lambda found: chr(int(found[1], 16)), text)


def songs_of(
    lines: Iterator[DirectiveLine | WordLine],
) -> list[list[DirectiveLine | WordLine]]:
    """Return the lines of each song of a book: a second begins at ``{new_song}``."""
    songs: list[list[DirectiveLine | WordLine]] = [[]]
    for line in lines:
        if isinstance(line, DirectiveLine) and line.name == "new_song":
            songs.append([])
        else:
            songs[-1].append(line)
    return [song for song in songs if any(not isinstance(line, WordLine) or line.text for line in song)]
