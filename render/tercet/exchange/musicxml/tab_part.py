"""The tab staff of a MusicXML export: what the hands do, string by string."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

from tercet.arranging import Arrangement, Gesture
from tercet.exchange.musicxml.values import (
    Value,
    add_attributes,
    add_length,
    add_pitch,
    add_tuplet,
    tied_at,
    values_of,
)
from tercet.theory import spell

if TYPE_CHECKING:
    from tercet.song import Measure

__all__ = ["add_tab_measure"]


def add_tab_measure(
    measure: Element, arrangement: Arrangement, piece: Measure, divisions: int, *, first: bool
) -> None:
    """Add one measure of the tab: every stroke lasts until the next, the strings of a roll are arpeggiated."""
    if first:
        _attributes(measure, arrangement, divisions)
    inside = [
        gesture
        for gesture in arrangement.gestures
        if piece.start_beat <= gesture.start_beat < piece.end_beat and gesture.notes
    ]
    together = [
        (start, list(group)) for start, group in groupby(inside, key=lambda gesture: gesture.start_beat)
    ]
    quarter = Fraction(4, arrangement.song.meter.lower)
    first_beat = together[0][0] if together else piece.end_beat
    edges = [piece.start_beat, *(start for start, _ in together if start > piece.start_beat), piece.end_beat]
    printed = values_of([(high - low) * quarter for low, high in pairwise(edges)])
    if first_beat > piece.start_beat:
        for value in printed.pop(0):
            rest = SubElement(measure, "note")
            SubElement(rest, "rest")
            add_length(rest, value, divisions)
            if value.starts or value.stops:
                add_tuplet(SubElement(rest, "notations"), value)
    for (_, gestures), values in zip(together, printed, strict=True):
        for place, value in enumerate(values):
            ties = tied_at(place, len(values))
            _strokes(measure, arrangement, gestures, value, ties, divisions)


def _attributes(measure: Element, arrangement: Arrangement, divisions: int) -> None:
    attributes = add_attributes(measure, arrangement.song, divisions, ("TAB", 4))
    details = SubElement(attributes, "staff-details")
    SubElement(details, "staff-lines").text = "4"
    for line, pitch in enumerate(arrangement.tuning.open_pitches, 1):
        tuning = SubElement(details, "staff-tuning", line=str(line))
        SubElement(tuning, "tuning-step").text = pitch.letter
        if pitch.alter:
            SubElement(tuning, "tuning-alter").text = str(pitch.alter)
        SubElement(tuning, "tuning-octave").text = str(pitch.octave)


def _strokes(
    measure: Element,
    arrangement: Arrangement,
    gestures: list[Gesture],
    value: Value,
    ties: Sequence[str],
    divisions: int,
) -> None:
    """Add what is struck at one place, or is held on from there; one note a string, those of the tune first."""
    taken: set[int] = set()
    for gesture in gestures:
        for struck in gesture.notes:
            if struck.string in taken:
                continue
            note = SubElement(measure, "note")
            if taken:
                SubElement(note, "chord")
            add_pitch(note, spell(struck.midi, arrangement.song.key))
            add_length(note, value, divisions, ties)
            if gesture.action == "chop":
                SubElement(note, "notehead").text = "x"
            notations = SubElement(note, "notations")
            for name in ties:
                SubElement(notations, "tied", type=name)
            if not taken:
                add_tuplet(notations, value)
            technical = SubElement(notations, "technical")
            if struck.fret is not None:
                SubElement(technical, "string").text = str(struck.string)
                SubElement(technical, "fret").text = str(struck.fret)
            if struck.sign:
                SubElement(technical, "other-technical").text = struck.sign
            if gesture.action == "roll" and "stop" not in ties:
                SubElement(notations, "arpeggiate", direction="up")
            taken.add(struck.string)
