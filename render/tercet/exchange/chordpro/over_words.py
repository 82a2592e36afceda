"""Words with their chords on the line above them, as plain text: made into lines with the chords in brackets."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from tercet.exchange.chordpro.directives import environment_of, known_directive
from tercet.exchange.chordpro.lines import DirectiveLine, WordLine
from tercet.exchange.chordpro.signs import chord_named
from tercet.exchange.words import names_section
from tercet.theory.pitch import PITCH_CLASSES

__all__ = ["has_chords_over_words", "with_chords_in_words"]

_WORD = re.compile(r"\S+")
_BAR = re.compile(r"\|{1,2}")
_BEATS = ("/", ".")
_HEADING = re.compile(r"\s*\[?\s*([^\[\]|]{2,40}?)\s*\]?\s*:?\s*")
_HEAD = re.compile(
    r"\s*(title|subtitle|artist|composer|lyricist|words|music|key|time|meter|tempo|capo|copyright)\s*(?::|(?=\s\d))\s*(.+)",
    re.IGNORECASE,
)
_OTHER_NAMES = {"words": "lyricist", "music": "composer", "meter": "time"}
_APART = ("grid", "tab", "abc", "ly", "svg", "textblock", "strum")
"""Sections whose lines aren't words."""

_BRACKETED = re.compile(r"\[([^\[\]]{1,12})\]")


def has_chords_over_words(text: str) -> bool:
    """Return whether a text has chords over its words, or in brackets among them."""
    if "\x00" in text:
        return False
    lines = text.splitlines()[:2000]
    if any(_names_chords(_BRACKETED.findall(line)) for line in lines):
        return True
    return any(
        _is_chords(line) and not _is_chords(below) and below.strip() for line, below in pairwise(lines)
    )


def _names_chords(names: Sequence[str]) -> bool:
    return any(name[:1] in PITCH_CLASSES and chord_named(name) is not None for name in names)


def _is_chords(line: str) -> bool:
    """Return whether a line has nothing but chords, bar lines and beats."""
    words = line.split()
    names = [word for word in words if not _BAR.fullmatch(word) and word not in _BEATS]
    return bool(names) and all(chord_named(name) is not None for name in names) and _names_chords(names)


def with_chords_in_words(
    lines: Sequence[DirectiveLine | WordLine],
) -> Iterator[DirectiveLine | WordLine]:
    """Yield the lines, each line of chords set into the words below it, headings as directives.

    Where chords stand in brackets, a line that looks like chords is words. A first line that stands alone is the title
    of a song that has no directives.
    """
    at = 0
    bracketed = any(
        isinstance(line, WordLine) and _names_chords(_BRACKETED.findall(line.text)) for line in lines
    )
    inside = ""
    titled = any(isinstance(line, DirectiveLine) for line in lines)
    while at < len(lines):
        line = lines[at]
        at += 1
        if isinstance(line, DirectiveLine):
            inside = environment_of(line.name) or ("" if line.name.startswith("end_of_") else inside)
            yield line
            continue
        if inside in _APART:
            yield line
            continue
        below = lines[at] if at < len(lines) else None
        if not bracketed and _is_chords(line.text):
            if isinstance(below, WordLine) and below.text.strip() and not _is_chords(below.text):
                at += 1
                yield WordLine(below.number, _merged(line.text, below.text))
            else:
                yield WordLine(line.number, _merged(line.text, ""))
            continue
        heading = _heading(line, is_first=not titled, alone=below is None or _stands_apart(below))
        titled = titled or bool(line.text.strip())
        yield heading or line


def _stands_apart(below: DirectiveLine | WordLine) -> bool:
    return (
        isinstance(below, DirectiveLine) or not below.text.strip() or _HEAD.fullmatch(below.text) is not None
    )


def _heading(line: WordLine, *, is_first: bool, alone: bool) -> DirectiveLine | None:
    """Return the directive that a line without chords stands for; None for words."""
    head = _HEAD.fullmatch(line.text)
    if head:
        name = head[1].casefold()
        known = known_directive(_OTHER_NAMES.get(name, name))
        return DirectiveLine(line.number, known.name, head[2].strip()) if known else None
    named = _HEADING.fullmatch(line.text)
    if named and names_section(named[1]):
        return DirectiveLine(line.number, "comment", named[1])
    if is_first and alone and line.text.strip() and "[" not in line.text:
        return DirectiveLine(line.number, "title", line.text.strip())
    return None


def _merged(chords: str, words: str) -> str:
    """Return a line of words with the chords above it in brackets, each before the sign that it stands over.

    >>> _merged("C       G7", "Down in the valley")
    '[C]Down in [G7]the valley'
    """
    found = list(_WORD.finditer(chords))
    width = max((match.start() for match in found), default=0)
    words = words.ljust(width)
    pieces, at = [], 0
    for match in found:
        start = match.start()
        pieces.append(words[at:start])
        sign = "*/" if match[0] in _BEATS else match[0]
        pieces.append("|" if _BAR.fullmatch(sign) else f"[{sign}]")
        at = start
    return "".join([*pieces, words[at:]]).rstrip()
