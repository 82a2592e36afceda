"""The lines of an ABC tune as they are meant: comments and typeset text taken out, fields joined that go on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

__all__ = ["AbcLine", "meant_lines"]

_FIELD = re.compile(r"\s{0,3}([A-Zmrsw+]):(?![|:])(.*)", re.DOTALL)
_COMMENT = re.compile(r"(?<!\\)%")
_BEGIN = re.compile(r"%%\s*begin(\w{1,20})")
_QUOTES = str.maketrans(
    {"“": '"', "”": '"', "„": '"', "’": "'", "‘": "'", "´": "'", "\u00a0": " ", "\t": " "}
)
"""Signs that programs for texts put in the place of those that music is written in."""


@dataclass(frozen=True, slots=True)
class AbcLine:
    """A line as it is meant.

    Parameters
    ----------
    letter
        Of its field; empty for a line of music, ``"I"`` for an instruction (``I:`` or ``%%``).
    text
        What it holds; empty for an empty line.
    goes_on
        Whether the next line of music is printed on the same line.
    """

    letter: str
    text: str
    goes_on: bool = False


def meant_lines(raw: Iterable[str]) -> Iterator[AbcLine]:
    """Yield the lines of a tune."""
    waiting: AbcLine | None = None
    for line in _without_typeset_text(raw):
        found = _read_line(line, continued=waiting is not None and waiting.goes_on)
        if found is None:
            continue
        if waiting is not None and (joined := _joined(waiting, found)):
            waiting = joined
            continue
        if waiting is not None:
            yield waiting
        waiting = found
    if waiting is not None:
        yield waiting


def _without_typeset_text(raw: Iterable[str]) -> Iterator[str]:
    """Yield the lines without what stands from ``%%begintext`` to ``%%endtext``, and the like."""
    end = ""
    for line in raw:
        if end:
            end = "" if re.match(rf"%%\s*end{end}\b", line) else end
        elif found := _BEGIN.match(line):
            end = found[1]
        else:
            yield line


def _read_line(line: str, *, continued: bool) -> AbcLine | None:
    """Return a line without its comment; None for one that is a comment alone."""
    if line.startswith("%%"):
        return AbcLine("I", line[2:].strip())
    text = _without_comment(line)
    if not text.strip() and line.strip():
        return None
    found = _FIELD.match(text)
    if found:
        return _going_on(found[1], found[2].strip())
    if continued:
        return _going_on("", text.strip())
    return _going_on("", text.rstrip())


def _going_on(letter: str, text: str) -> AbcLine:
    goes_on = text.endswith("\\")
    text = text[:-1].rstrip() if goes_on else text
    return AbcLine(letter, text if letter else text.translate(_QUOTES), goes_on)


def _joined(before: AbcLine, line: AbcLine) -> AbcLine | None:
    """Return two lines as the field that they are together, or None where the second stands for itself."""
    if line.letter == "+" and before.letter not in ("", "+"):
        return AbcLine(before.letter, f"{before.text} {line.text}".strip(), line.goes_on)
    if before.letter in ("w", "W", "s") and before.goes_on and line.letter in ("", before.letter):
        return AbcLine(before.letter, f"{before.text} {line.text}".strip(), line.goes_on)
    return None


def _without_comment(line: str) -> str:
    found = _COMMENT.search(line)
    return (line[: found.start()].rstrip() if found else line).replace("\\%", "%")
