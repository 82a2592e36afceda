"""Words of an ABC tune: a line ``w:`` set to the notes of the line of music above it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from tercet.exchange.syllables import sung_text
from tercet.song import Syllable

if TYPE_CHECKING:
    from tercet.exchange.abc_music import AbcReader

__all__ = ["set_words"]

_SYLLABLES = re.compile(r"\\-|[^\s\-_*|]+(?:\\-[^\s\-_*|]*)*|-|_|\*|\|")


def set_words(reader: AbcReader, text: str, verse: int) -> list[str]:
    r"""Set a line of words to the notes that `reader` struck in its last line; return remarks.

    A space or a hyphen goes on to the next note, ``_`` holds the syllable for one more, ``*`` leaves one without,
    ``|`` goes on to the next bar, ``~`` joins two words on one note, ``\\-`` is a hyphen that is sung.
    """
    setter = _Setter(reader, verse)
    for match in _SYLLABLES.finditer(text):
        setter.sign(match[0])
    return ["words with more syllables than their line has notes were cut"] if setter.cut else []


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
        if self._at < len(self._notes):
            self._last = self._notes[self._at]
            self._sing(self._last, Syllable(sung_text(text.replace("\\-", "‿").replace("~", "‿"))))
            self._joins = True
        else:
            self.cut = True
        self._at += 1

    def _sing(self, place: tuple[int, int], syllable: Syllable) -> None:
        """Give a note its syllable; words come after their line, so the measure of the note may still be open."""
        if place[0] >= len(self._reader.measures):
            self._reader.finish()
        measure = self._reader.measures[place[0]]
        note = measure.notes[place[1]]
        words = tuple(sorted({**dict(note.words), self._verse: syllable}.items()))
        notes = (*measure.notes[: place[1]], replace(note, words=words), *measure.notes[place[1] + 1 :])
        self._reader.measures[place[0]] = replace(measure, notes=notes)

    def _join(self, place: tuple[int, int]) -> None:
        note = self._reader.measures[place[0]].notes[place[1]]
        text = dict(note.words).get(self._verse)
        if text is not None and text.text:
            self._sing(place, replace(text, joined=True))
