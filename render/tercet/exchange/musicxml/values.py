"""Notes of MusicXML in parts: pitch, time signature, and lengths as printed: types, dots, ties and tuplets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from tercet.song import Song
from tercet.theory import Pitch

__all__ = [
    "NOTE_TYPES",
    "Value",
    "add_attributes",
    "add_length",
    "add_pitch",
    "add_tuplet",
    "tied_at",
    "values_of",
]

NOTE_TYPES: dict[str, Fraction] = {
    "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
    "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16),
    "128th": Fraction(1, 32), "256th": Fraction(1, 64), "512th": Fraction(1, 128), "1024th": Fraction(1, 256),
}  # fmt: skip
"""Quarters of a note, by the name that MusicXML has for it."""

_SINGLE = sorted(
    (
        (length * factor, name, dots)
        for name, length in NOTE_TYPES.items()
        for dots, factor in enumerate((Fraction(1), Fraction(3, 2), Fraction(7, 4)))
    ),
    reverse=True,
)
"""Lengths that one note can have, the longest first: quarters, type, dots."""

_MOST_TIED = 8
"""Notes that a single length may be written with; what is left then has no type."""

_MOST_IN_TUPLET = 999


@dataclass(frozen=True, slots=True)
class Value:
    """One printed note, alone or tied to others for one length.

    Parameters
    ----------
    quarters
        How long it lasts.
    kind, dots
        Its type, empty for a length that no note has, and its dots.
    actual, normal
        So many are played in the time of so many: 1 and 1 outside a tuplet.
    starts, stops
        Whether a tuplet starts or stops with it.
    """

    quarters: Fraction
    kind: str
    dots: int = 0
    actual: int = 1
    normal: int = 1
    starts: bool = False
    stops: bool = False


def values_of(lengths: Sequence[Fraction]) -> list[tuple[Value, ...]]:
    """Return how the notes and rests of a measure, of these lengths in quarters, are printed: each as notes to be tied.

    A tuplet goes on until its notes fill a length without thirds, fifths and so on, or until the measure ends.
    """
    printed: list[tuple[Value, ...]] = []
    actual, filled = 1, Fraction(0)
    for length in lengths:
        if actual > 1 and not _is_plain(length * actual):
            printed[-1] = _stopped(printed[-1])
            actual = 1
        starts = actual == 1 and not _is_plain(length)
        if starts:
            actual, filled = _odd_part(length.denominator), Fraction(0)
        values = _single_notes(length, actual)
        if starts:
            values = (replace(values[0], starts=values[0].actual > 1), *values[1:])
        filled += length
        printed.append(values)
        if actual > 1 and _is_plain(filled):
            printed[-1] = _stopped(values)
            actual = 1
    if actual > 1:
        printed[-1] = _stopped(printed[-1])
    return printed


def tied_at(place: int, count: int) -> list[str]:
    """Return which ties a note has that is one of several for one length, by its place among them."""
    return [name for name, there in (("stop", place > 0), ("start", place + 1 < count)) if there]


def _stopped(values: tuple[Value, ...]) -> tuple[Value, ...]:
    return (*values[:-1], replace(values[-1], stops=values[-1].actual > 1))


def _odd_part(number: int) -> int:
    return number // (number & -number)


def _is_plain(length: Fraction) -> bool:
    """Return whether a length can be written without a tuplet."""
    return _odd_part(length.denominator) == 1


def _single_notes(length: Fraction, actual: int) -> tuple[Value, ...]:
    """Return the notes that make up a length, within a tuplet of so many."""
    if actual > _MOST_IN_TUPLET:
        return (Value(length, ""),)
    normal = 1 << (actual.bit_length() - 1)
    ratio = Fraction(actual, normal)
    values: list[Value] = []
    left = length * ratio
    while left and len(values) < _MOST_TIED:
        single = next((each for each in _SINGLE if each[0] <= left), None)
        if single is None:
            break
        values.append(Value(single[0] / ratio, single[1], single[2], actual, normal))
        left -= single[0]
    if left:
        return (Value(length, ""),)
    return tuple(values)


def add_length(element: Element, value: Value, divisions: int, ties: Sequence[str] = ()) -> None:
    """Add how long a note sounds and is tied, its voice, its type, its dots and its place in a tuplet."""
    SubElement(element, "duration").text = str(int(value.quarters * divisions))
    for name in ties:
        SubElement(element, "tie", type=name)
    SubElement(element, "voice").text = "1"
    if not value.kind:
        return
    SubElement(element, "type").text = value.kind
    for _ in range(value.dots):
        SubElement(element, "dot")
    if value.actual > 1:
        modification = SubElement(element, "time-modification")
        SubElement(modification, "actual-notes").text = str(value.actual)
        SubElement(modification, "normal-notes").text = str(value.normal)


def add_tuplet(notations: Element, value: Value) -> None:
    """Add where a tuplet starts and stops."""
    for name, there in (("start", value.starts), ("stop", value.stops)):
        if there:
            SubElement(notations, "tuplet", type=name, number="1")


def add_attributes(measure: Element, song: Song, divisions: int, clef: tuple[str, int]) -> Element:
    """Add what a first measure begins with (units of a quarter, key, time signature, a clef on its line); return it."""
    attributes = SubElement(measure, "attributes")
    SubElement(attributes, "divisions").text = str(divisions)
    key = SubElement(attributes, "key")
    SubElement(key, "fifths").text = str(song.key.fifths)
    SubElement(key, "mode").text = "minor" if song.key.minor else "major"
    time = SubElement(attributes, "time")
    SubElement(time, "beats").text = str(song.meter.upper)
    SubElement(time, "beat-type").text = str(song.meter.lower)
    drawn = SubElement(attributes, "clef")
    SubElement(drawn, "sign").text = clef[0]
    SubElement(drawn, "line").text = str(clef[1])
    return attributes


def add_pitch(element: Element, pitch: Pitch) -> None:
    """Add a pitch to a note."""
    child = SubElement(element, "pitch")
    SubElement(child, "step").text = pitch.letter
    if pitch.alter:
        SubElement(child, "alter").text = str(pitch.alter)
    SubElement(child, "octave").text = str(pitch.octave)
