"""What a player meets in some bars: chords, shapes, rolls, strums, rhythms, how high; and what of it is new."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from typing import Literal

from tercet.arranging.model import Arrangement, Gesture
from tercet.arranging.report import frets_text, stroke_text, top_fret
from tercet.song import Bar, Meter
from tercet.wording import counted

__all__ = ["Known", "Met", "NewKind", "met_in"]

NewKind = Literal["chord", "shape", "roll", "strum", "rhythm", "fret"]
"""What may be new to a player, in the order in which it is told."""

_PLAIN = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}
_VALUES: dict[Fraction, str] = {
    **{Fraction(3, 2 * part): f"dotted {name}" for part, name in _PLAIN.items()},
    **{Fraction(2, 3 * part): f"triplet {name}" for part, name in _PLAIN.items()},
    **{Fraction(1, part): name for part, name in _PLAIN.items()},
}
"""What lengths are called, as parts of a whole note."""

MOST_TIED = 3
MOST_NOTES = 12
"""A figure is cut off after so many notes: nobody would know a longer one again."""


@dataclass(frozen=True, slots=True)
class Met:
    """Something that a player meets.

    Parameters
    ----------
    kind
        What it is.
    name
        What it is called: a chord's name, a shape's frets, a roll as pins are written, where a strum stands, the
        values of a rhythm's notes, the number of a fret.
    bar_number
        Where it is first met, in the piece as played.
    chord
        Of a shape, the chord that it is first used for; empty for none.
    """

    kind: NewKind
    name: str
    bar_number: int
    chord: str = ""

    @property
    def shown(self) -> str:
        """What it is called, in words."""
        if self.kind == "shape":
            return f"{self.chord} {self.name}".strip()
        return f"fret {self.name}" if self.kind == "fret" else self.name


@dataclass(frozen=True, slots=True)
class Known:
    """What players know already: names of each kind, and the highest fret."""

    names: frozenset[tuple[NewKind, str]] = frozenset()
    fret: int = 0

    def new_in(self, met: Iterable[Met]) -> tuple[Met, ...]:
        """Return what isn't known yet, in the same order; a fret only where it is higher than all before."""
        return tuple(
            each
            for each in met
            if (
                int(each.name) > self.fret
                if each.kind == "fret"
                else (each.kind, each.name) not in self.names
            )
        )

    def after(self, met: Iterable[Met]) -> Known:
        """Return what is known after these."""
        found = tuple(met)
        frets = (int(each.name) for each in found if each.kind == "fret")
        names = {(each.kind, each.name) for each in found if each.kind != "fret"}
        return Known(self.names | names, max(self.fret, *frets, 0))


def met_in(arrangement: Arrangement, bar_numbers: Collection[int] | None = None) -> tuple[Met, ...]:
    """Return what a player meets, kind by kind, each once, in the order in which it comes.

    Shapes are those of rolls and strums: single notes are read from the tab. A rhythm is what the tune does from one
    note on the pulse to the next, ties counted as one note. Of the frets, the highest is met.

    Parameters
    ----------
    arrangement
        What is played.
    bar_numbers
        Numbers of the bars to look at; all of them without.
    """
    bars = [bar for bar in arrangement.bars if bar_numbers is None or bar.number in bar_numbers]
    gestures = [gesture for bar in bars for gesture in arrangement.by_bar[bar.number]]
    by_number = {bar.number: bar for bar in bars}
    found = [
        *_chords(bars),
        *_shapes(gestures, by_number),
        *(
            Met("roll", stroke_text(each), each.bar_number)
            for each in gestures
            if each.action == "roll" and each.layer == "melody"
        ),
        *_strums(gestures, by_number, arrangement.song.meter),
        *_rhythms(arrangement, by_number),
        *_highest(gestures),
    ]
    first: dict[tuple[NewKind, str], Met] = {}
    for each in found:
        first.setdefault((each.kind, each.name), each)
    return tuple(first.values())


def _chords(bars: Iterable[Bar]) -> Iterator[Met]:
    for bar in bars:
        yield from (Met("chord", str(span.chord), bar.number) for span in bar.chords if span.chord)


def _shapes(gestures: Iterable[Gesture], bars: dict[int, Bar]) -> Iterator[Met]:
    for gesture in gestures:
        if gesture.action in ("roll", "strum") and len(gesture.shape) == 4:
            under = bars[gesture.bar_number].chord_at(gesture.start_beat)
            chord = str(under.chord) if under is not None and under.chord else ""
            yield Met("shape", frets_text(gesture.shape), gesture.bar_number, chord)


def _strums(gestures: Iterable[Gesture], bars: dict[int, Bar], meter: Meter) -> Iterator[Met]:
    for gesture in gestures:
        if gesture.layer != "strums":
            continue
        if gesture.action == "chop":
            yield Met("strum", "chop", gesture.bar_number)
            continue
        on_pulse = _place_in_pulse(gesture.start_beat, bars[gesture.bar_number], meter) == 0
        where = "on the beat" if on_pulse else "between beats"
        yield Met("strum", f"{'up' if gesture.up else 'down'} {where}", gesture.bar_number)


def _highest(gestures: Iterable[Gesture]) -> Iterator[Met]:
    highest = max(gestures, key=top_fret, default=None)
    if highest is not None and top_fret(highest):
        yield Met("fret", str(top_fret(highest)), highest.bar_number)


# ---- rhythms


@dataclass(slots=True)
class _Sound:
    """A note or rest of the tune, ties counted as one note: its bar, its place in its pulse, its length bar by bar."""

    bar: Bar
    in_pulse_beat: Fraction
    lengths_beat: dict[int, Fraction]
    rest: bool


def _place_in_pulse(at_beat: Fraction, bar: Bar, meter: Meter) -> Fraction:
    """Return how far behind a pulse a place of the piece lies; a pick-up's pulses are counted from its end."""
    origin = bar.start_beat if bar.section_bar else bar.start_beat + bar.length_beat
    return (at_beat - origin) % meter.pulse_beat


def _sounds(arrangement: Arrangement) -> list[_Sound]:
    meter = arrangement.song.meter
    sounds: list[_Sound] = []
    for bar in arrangement.bars:
        for note in bar.melody:
            if note.goes_on and sounds and not sounds[-1].rest:
                lengths = sounds[-1].lengths_beat
                lengths[bar.number] = lengths.get(bar.number, Fraction(0)) + note.length_beat
                continue
            place = _place_in_pulse(bar.start_beat + note.start_beat, bar, meter)
            sounds.append(_Sound(bar, place, {bar.number: note.length_beat}, note.is_rest))
    return sounds


def _rhythms(arrangement: Arrangement, bars: dict[int, Bar]) -> Iterator[Met]:
    """Yield the figures of the tune that begin in some bars."""
    lower = arrangement.song.meter.lower
    figures: list[list[_Sound]] = []
    for sound in _sounds(arrangement):
        if sound.in_pulse_beat == 0 or not figures or len(figures[-1]) == MOST_NOTES:
            figures.append([])
        figures[-1].append(sound)
    for figure in figures:
        if figure[0].bar.number in bars and not all(sound.rest for sound in figure):
            yield Met("rhythm", _figure_name(figure, lower), figure[0].bar.number)


def _figure_name(figure: Iterable[_Sound], lower: int) -> str:
    """Return what a figure is called: the values of its notes and rests, ``dotted quarter, eighth``."""
    names = [
        " tied to ".join(_value_name(length_beat / lower) for length_beat in sound.lengths_beat.values())
        + (" rest" if sound.rest else "")
        for sound in figure
    ]
    alike = ((name, len([*run])) for name, run in groupby(names))
    return ", ".join(name if count == 1 else counted(count, name) for name, count in alike)


def _value_name(whole: Fraction) -> str:
    """Return what a length is called; one that no single value has as values tied together.

    >>> _value_name(Fraction(3, 8)), _value_name(Fraction(5, 8))
    ('dotted quarter', 'half tied to eighth')
    """
    names: list[str] = []
    left = whole
    while left > 0 and len(names) < MOST_TIED:
        value = left if left in _VALUES else max((each for each in _VALUES if each <= left), default=None)
        if value is None:
            break
        names.append(_VALUES[value])
        left -= value
    return " tied to ".join(names) or f"a note of {whole} of a whole"
