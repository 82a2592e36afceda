"""What stands in brackets and between words: chords, bar lines, beats; words as syllables."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from tercet.exchange.chord_names import read_chord_name
from tercet.exchange.chordpro.lines import with_codes
from tercet.exchange.leadsheet import LeadChord
from tercet.exchange.words import sung_text
from tercet.song import Syllable
from tercet.theory import Chord, Key
from tercet.theory.chords import ChordNameError
from tercet.wording import listed

__all__ = ["BAR_LINE", "BEAT", "ChordReader", "Remarks", "Sign", "Signs", "chord_named", "syllables_of"]

BAR_LINE, BEAT = "[*|]", "[*/]"
"""A bar line, and a beat on which the chord goes on: remarks in brackets, which others print above the words."""

SHOWN = 6
"""Lines that a remark lists."""


class Remarks:
    """What is said of a file: once for each kind of thing, with the lines."""

    def __init__(self) -> None:
        self._lines: dict[str, list[int]] = {}

    def add(self, what: str, line: int = 0) -> None:
        """Note something, at a line or of the whole file."""
        self._lines.setdefault(what, []).extend([line] if line else [])

    def told(self) -> tuple[str, ...]:
        """Return a sentence for each."""
        return tuple(f"{what}{_places(lines)}" for what, lines in self._lines.items())


def _places(lines: list[int]) -> str:
    once = list(dict.fromkeys(lines))
    if not once:
        return ""
    shown = [str(line) for line in once[:SHOWN]]
    more = len(once) - len(shown)
    told = f"{', '.join(shown)} and {more} more" if more else listed(shown)
    return f": {'lines' if more or len(shown) > 1 else 'line'} {told}"


@dataclass(frozen=True, slots=True)
class Sign:
    """A piece of a line: a chord that begins, a bar line, a beat, or words."""

    kind: Literal["chord", "bar", "beat", "words"]
    text: str = ""
    chord: LeadChord | None = None


_SILENT = re.compile(r"N\.?C\.?|-|–|tacet", re.IGNORECASE)
_ZERO = Fraction(0)


def chord_named(text: str) -> tuple[Chord | None, bool] | None:
    """Return the chord of a name (None for N.C.) and whether it is just that one; None for what names no chord.

    >>> str(chord_named("(G7)")[0]), chord_named("N.C."), chord_named("Coda")
    ('G7', (None, True), None)
    """
    name = text.strip().strip("()").strip()
    if _SILENT.fullmatch(name):
        return None, True
    try:
        named = read_chord_name(name)
    except ChordNameError:
        return None
    return named.chord, named.exact


class ChordReader:
    """Reads chords as they hold at a place of the file: moved, with the shapes that the file gives them.

    Attributes
    ----------
    semitones
        By how much the chords from here on are moved.
    shapes
        Shapes by chord, as written: frets and fingers.
    """

    def __init__(self, remarks: Remarks) -> None:
        self._remarks = remarks
        self.semitones = 0
        self.key: Key | None = None
        self.shapes: dict[str, tuple[tuple[int | None, ...], tuple[int, ...] | None]] = {}

    def read(self, text: str, line: int) -> LeadChord | None:
        """Return a chord; None, with a remark, for what names none."""
        found = chord_named(text)
        if found is None:
            return None
        chord, exact = found
        if chord is None:
            return LeadChord(_ZERO, None)
        if not exact:
            self._remarks.add(
                f"`{text.strip()[:20]}` became {chord}, the nearest chord that a song has", line
            )
        shape, fingers = self.shapes.get(str(chord), (None, None)) if not self.semitones else (None, None)
        if self.semitones:
            chord = chord.transposed(
                self.semitones, prefer_flats=self.key is not None and self.key.fifths < 0
            )
        return LeadChord(_ZERO, chord, shape, fingers)


class Signs:
    """Takes lines of words apart."""

    def __init__(self, chords: ChordReader, remarks: Remarks) -> None:
        self._chords = chords
        self._remarks = remarks
        self.own = False
        """Whether Tercet wrote the file: all words are sung."""

    def of(self, text: str, line: int) -> Iterator[Sign]:
        """Yield what a line of words holds, from left to right."""
        for match in _PIECE.finditer(text):
            inside, bar, words = match.groups()
            if bar:
                yield Sign("bar")
            elif words:
                yield from self._words(words, line)
            elif inside is not None:
                yield from self._bracket(inside.strip(), line)

    def _words(self, words: str, line: int) -> Iterator[Sign]:
        kept = words if self.own else _AGAIN.sub("", words)
        if kept != words:
            self._remarks.add("what is sung again is written again: `x2` is passed over", line)
        if "[" in kept or "]" in kept:
            self._remarks.add("a bracket that isn't closed, or opened, is left out: write `[C]`", line)
        if "{" in kept or "}" in kept:
            self._remarks.add(
                "a directive stands on a line of its own, between { and }: the braces are left out", line
            )
        kept = kept.translate(_BRACKETS)
        if kept:
            yield Sign("words", with_codes(kept))

    def _bracket(self, inside: str, line: int) -> Iterator[Sign]:
        plain = inside.lstrip("*").strip()
        if plain in ("|", "||"):
            yield Sign("bar")
        elif plain in ("/", "."):
            yield Sign("beat")
        elif inside.startswith("*"):
            self._remarks.add("remarks in brackets are passed over", line)
        elif (chord := self._chords.read(inside, line)) is not None:
            yield Sign("chord", chord=chord)
        elif inside:
            told = "`" + inside[:20] + "`"
            self._remarks.add(
                f"{told} isn't a chord and is passed over; a remark is written [*{inside[:20]}]", line
            )


_PIECE = re.compile(r"\[([^\[\]]{0,80})\]|(\|\|?)|((?:\[(?![^\[\]]{0,80}\])|[^\[|])+)")
_AGAIN = re.compile(r"\s*\(?\b(?:[x×]\s?\d{1,2}|\d{1,2}\s?[x×])\b\)?\s*$")
_BRACKETS = dict.fromkeys(map(ord, "[]{}"))
_HYPHENS = re.compile(r"(?<=\w)[-‐\u00ad]+(?=\w)|(?<=\w)[-‐\u00ad]+$")


def syllables_of(text: str) -> list[Syllable]:
    """Return the syllables of words, as far as hyphens tell them apart.

    >>> [(each.text, each.joined) for each in syllables_of("Lan-terns — a-")]
    [('Lan', True), ('terns', False), ('a', True)]
    """
    found: list[Syllable] = []
    for word in text.split():
        pieces = _HYPHENS.split(word)
        sung = [sung_text(piece) for piece in pieces]
        own = [Syllable(each, joined=index + 1 < len(sung)) for index, each in enumerate(sung) if each]
        if own and own[-1].joined and pieces[-1]:
            own[-1] = replace(own[-1], joined=False)
        found += own
    return found
