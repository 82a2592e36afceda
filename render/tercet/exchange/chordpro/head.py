"""The head of a song: titles and names, key, time, tempo, capo, shapes, and by how much chords are moved."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from tercet.errors import ParameterError
from tercet.exchange.chordpro.lines import DirectiveLine
from tercet.exchange.chordpro.shapes import read_shape_of
from tercet.exchange.chordpro.signs import ChordReader, Remarks
from tercet.theory import TUNINGS, Key, Pitch, parse_key, spell
from tercet.theory.limits import LOWER_FIGURES, MOST_SEMITONES, MOST_UPPER, TEMPO_RANGE
from tercet.theory.pitch import transpose_key

__all__ = ["HEADS", "TEXTS", "Head"]

TEXTS = ("title", "subtitle", "artist", "composer", "lyricist", "arranger", "copyright", "year")
"""Directives that say a text of the song."""

_METER = re.compile(r"(\d{1,3})\s*/\s*(\d{1,3})")
_NUMBER = re.compile(r"(\d{1,4}(?:\.\d{1,6})?)")
_WHOLE = re.compile(r"[+-]?\d{1,3}")


class Head:
    """What a file says of the song as a whole.

    Attributes
    ----------
    key, tempo, meter
        None until the file says so; the tempo in pulses a minute, the meter the one that holds here.
    settings
        Settings of a song file that follow from it.
    pinned
        The chords whose shapes are kept; all where this is None.
    begun
        Whether words or bars have been read already.
    """

    def __init__(self, chords: ChordReader, remarks: Remarks) -> None:
        self._chords = chords
        self._remarks = remarks
        self._texts: dict[str, list[str]] = {}
        self.key: Key | None = None
        self.tempo: Fraction | None = None
        self.meter: tuple[int, int] | None = None
        self.settings: list[tuple[str, str]] = []
        self.pinned: set[str] | None = None
        self.begun = False

    def first(self, *names: str) -> str:
        """Return what the first of some directives that stands in the file says, several of it listed."""
        return next((", ".join(self._texts[name]) for name in names if name in self._texts), "")

    @property
    def source(self) -> str:
        """Where the song is from, who wrote its words and when."""
        parts = [self.first("subtitle")]
        parts += [f"words: {self.first('lyricist')}"] if "lyricist" in self._texts else []
        parts += [f"arranged by {self.first('arranger')}"] if "arranger" in self._texts else []
        return "; ".join(part for part in (*parts, self.first("year")) if part)

    def take(self, name: str, line: DirectiveLine) -> bool:
        """Take in what a directive says; return whether it is one of the head."""
        if name in TEXTS:
            if line.told:
                self._texts.setdefault(name, []).append(line.told)
            return True
        if name in HEADS:
            HEADS[name](self, line)
            return True
        return False

    def read_key(self, line: DirectiveLine) -> None:
        """Take in a key; the first is the song's."""
        try:
            key = parse_key(line.told.replace("♭", "b").replace("♯", "#"))
        except ParameterError:
            self._remarks.add(f"`{line.told[:20]}` isn't a key: write C, Am or Bb", line.number)
            return
        if self._chords.semitones:
            key = transpose_key(key, self._chords.semitones)
        if self.key is None:
            self.key = self._chords.key = key
        elif key != self.key:
            self._remarks.add("a song has one key: the first is written", line.number)

    def read_time(self, line: DirectiveLine) -> None:
        """Take in a meter, from here on."""
        told = {"C": "4/4", "C|": "2/2"}.get(line.told, line.told)
        match = _METER.fullmatch(told)
        if match is None or not 1 <= int(match[1]) <= MOST_UPPER or int(match[2]) not in LOWER_FIGURES:
            self._remarks.add(f"`{line.told[:20]}` isn't a time: write 4/4, 3/4 or 6/8", line.number)
            return
        self.meter = int(match[1]), int(match[2])

    def read_tempo(self, line: DirectiveLine) -> None:
        """Take in a tempo; the first is the song's."""
        match = _NUMBER.match(line.told)
        low, high = TEMPO_RANGE
        if match is None or not low <= Fraction(match[1]) <= high:
            self._remarks.add(f"`{line.told[:20]}` isn't a tempo: write {low} to {high}", line.number)
        elif self.tempo is None:
            self.tempo = Fraction(match[1])
        else:
            self._remarks.add("a song has one tempo: the first is written", line.number)

    def read_capo(self, line: DirectiveLine) -> None:
        """Take in a capo: the strings are raised, and all sounds so much higher."""
        if not line.told.isdecimal() or not line.told.isascii() or int(line.told) > MOST_SEMITONES:
            self._remarks.add(f"`{line.told[:20]}` isn't a fret for a capo", line.number)
        elif int(line.told):
            strings = ", ".join(
                str(_raised(pitch, int(line.told))) for pitch in TUNINGS["high-g"].open_pitches
            )
            self.settings += [("sounding", line.told), ("tuning", f"[{strings}]")]

    def read_transpose(self, line: DirectiveLine) -> None:
        """Move the chords that follow."""
        told = line.told or "0"
        if not _WHOLE.fullmatch(told):
            self._remarks.add(f"`{told[:20]}` isn't a number of semitones: write -2 or 3", line.number)
            return
        moved = int(told) % 12
        if self.key is not None and not self.begun:
            self.key = transpose_key(self.key, moved - self._chords.semitones)
            self._chords.key = self.key
        self._chords.semitones = moved

    def read_define(self, line: DirectiveLine) -> None:
        """Take in the shape of a chord, for the chords that follow."""
        found = read_shape_of(line.told, line.number, self._remarks)
        if found is not None and (self.pinned is None or found[0] in self.pinned):
            name, frets, fingers = found
            self._chords.shapes[name] = (frets, fingers)


def _raised(pitch: Pitch, semitones: int) -> Pitch:
    """Return a string as a capo makes it."""
    return spell(pitch.midi + semitones, Key("D", 0, False))


HEADS: dict[str, Callable[[Head, DirectiveLine], None]] = {
    "key": Head.read_key,
    "time": Head.read_time,
    "tempo": Head.read_tempo,
    "capo": Head.read_capo,
    "transpose": Head.read_transpose,
    "define": Head.read_define,
    "chord": Head.read_define,
}
"""Directives that say something else of it."""
