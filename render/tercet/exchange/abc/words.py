"""Words of an ABC tune: a line ``w:`` set to the notes of the line of music above it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from tercet.exchange.abc.text import plain_text
from tercet.exchange.words import sung_text
from tercet.song import Syllable

if TYPE_CHECKING:
    from tercet.exchange.abc.music import AbcReader

__all__ = ["set_words"]

_SYLLABLES = re.compile(r"(?:[^\s\-_*|\\]|\\.)+|-|_|\*|\|")
_LOOSE_HYPHEN = re.compile(r"\s*(?<!\\)-[\s-]*")

_NUMBER = re.compile(r"[(\[]?\d{1,3}\s?[.):\]]+[\s~]*|\d{1,3}~+")
"""The number of a verse before its words: ``1.~Three``, ``2) Three``."""

_BARE_NUMBER = re.compile(r"\d{1,2}\s+(?=\D)")


def set_words(reader: AbcReader, text: str, verse: int) -> list[str]:
    r"""Set a line of words to the notes that `reader` struck in its last line; return remarks.

    A space or a hyphen goes on to the next note, ``_`` holds the syllable for one more, ``*`` leaves one without,
    ``|`` goes on to the next bar, ``~`` joins two words on one note, ``\\-`` is a hyphen that is sung. A number before
    the words is the verse's and isn't sung.
    """
    notes = len(reader.struck)
    words = _best_fit(_without_number(plain_text(text).strip(), verse, notes), notes)
    setter = _Setter(reader, verse)
    for sign in words:
        setter.sign(sign)
    return ["words with more syllables than their line has notes were cut"] if setter.cut else []


def _without_number(text: str, verse: int, notes: int) -> str:
    """Return words without the number of their verse; one without a point counts only where it tells."""
    if found := _NUMBER.match(text):
        return text[found.end() :]
    bare = _BARE_NUMBER.match(text)
    if bare and (int(bare[0]) == verse or _taken(_signs(text, strict=True)) > notes):
        return text[bare.end() :]
    return text


def _best_fit(text: str, notes: int) -> list[str]:
    """Return the signs of words, read as the standard has it unless only a looser reading of hyphens fits the notes."""
    strict = _signs(text, strict=True)
    loose = _signs(text, strict=False)
    return loose if _taken(strict) > notes >= _taken(loose) else strict


def _signs(text: str, *, strict: bool) -> list[str]:
    """Return syllables and signs.

    By the standard a hyphen with a space or a hyphen before it lets a note pass without a syllable of its own; loosely,
    hyphens with spaces around them part syllables and no more.
    """
    if not strict:
        return _SYLLABLES.findall(_LOOSE_HYPHEN.sub("-", text))
    signs: list[str] = []
    for found in _SYLLABLES.finditer(text):
        open_before = found.start() > 0 and found.string[found.start() - 1].isspace()
        if found[0] == "-" and open_before and signs and signs[-1] not in ("-", "_", "*", "|"):
            signs.append("-")
        signs.append(found[0])
    return signs


def _taken(signs: list[str]) -> int:
    """Return about how many notes the signs of a line take; 0 where bar lines say where to go on."""
    if "|" in signs:
        return 0
    count, joins = 0, False
    for sign in signs:
        count += sign != "-" or not joins
        joins = sign not in ("-", "_", "*")
    return count


class _Setter:
    """Goes along the notes of a line."""

    def __init__(self, reader: AbcReader, verse: int) -> None:
        self.cut = False
        self._reader = reader
        self._verse = verse
        self._notes = list(reader.struck)
        self._at = 0
        self._joins = False
        self._last: tuple[int, int] | None = None

    def sign(self, sign: str) -> None:
        """Read one sign: a syllable, or where to go."""
        if sign == "-":
            self._hyphen()
        elif sign == "|":
            self._next_bar()
        elif sign in ("*", "_"):
            if sign == "_" and self._at < len(self._notes):
                self._sing(self._notes[self._at], Syllable(""))
            self._at += 1
        else:
            self._syllable(sign)

    def _hyphen(self) -> None:
        if self._joins and self._last is not None:
            self._join(self._last)
            self._joins = False
        else:
            self._at += 1

    def _next_bar(self) -> None:
        if not self._notes:
            return
        here = self._notes[min(self._at, len(self._notes) - 1)][0]
        before = self._notes[self._at - 1][0] if 0 < self._at <= len(self._notes) else here
        while self._at < len(self._notes) and self._notes[self._at][0] == before:
            self._at += 1

    def _syllable(self, text: str) -> None:
        sung = sung_text(text.replace("\\-", "‿").replace("~", "‿").replace("\\", ""))
        if self._at < len(self._notes):
            self._last = self._notes[self._at]
            self._sing(self._last, Syllable(sung))
            self._joins = True
        elif sung:
            self.cut = True
        self._at += 1

    def _sing(self, place: tuple[int, int], syllable: Syllable) -> None:
        """Give a note its syllable; words come after their line, so the measure of the note may still be open."""
        note = self._reader.note_at(place)
        words = tuple(sorted({**dict(note.words), self._verse: syllable}.items()))
        self._reader.put_note(place, replace(note, words=words))

    def _join(self, place: tuple[int, int]) -> None:
        text = dict(self._reader.note_at(place).words).get(self._verse)
        if text is not None and text.text:
            self._sing(place, replace(text, joined=True))
