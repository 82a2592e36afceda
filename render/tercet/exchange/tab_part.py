"""The tab staff of a MusicXML export: what the hands do, string by string."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

from tercet.arrange import Arrangement, Gesture
from tercet.exchange.values import add_pitch, add_time, add_value
from tercet.theory import spell

if TYPE_CHECKING:
    from tercet.exchange.pieces import Piece

__all__ = ["add_tab_measure"]


def add_tab_measure(
    measure: Element, arrangement: Arrangement, piece: Piece, divisions: int, *, first: bool
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
    places = [start for start, _ in together] + [piece.end_beat]
    if places[0] > piece.start_beat:
        rest = SubElement(measure, "note")
        SubElement(rest, "rest")
        _length(rest, (places[0] - piece.start_beat) * quarter, divisions)
    for (start, gestures), end in zip(together, places[1:], strict=True):
        _strokes(measure, arrangement, gestures, (end - start) * quarter, divisions)


def _attributes(measure: Element, arrangement: Arrangement, divisions: int) -> None:
    attributes = SubElement(measure, "attributes")
    SubElement(attributes, "divisions").text = str(divisions)
    key = SubElement(attributes, "key")
    SubElement(key, "fifths").text = str(arrangement.song.key.fifths)
    SubElement(key, "mode").text = "minor" if arrangement.song.key.minor else "major"
    add_time(attributes, arrangement.song.meter)
    clef = SubElement(attributes, "clef")
    SubElement(clef, "sign").text = "TAB"
    SubElement(clef, "line").text = "4"
    details = SubElement(attributes, "staff-details")
    SubElement(details, "staff-lines").text = "4"
    for line, pitch in enumerate(arrangement.tuning.open_pitches, 1):
        tuning = SubElement(details, "staff-tuning", line=str(line))
        SubElement(tuning, "tuning-step").text = pitch.letter
        if pitch.alter:
            SubElement(tuning, "tuning-alter").text = str(pitch.alter)
        SubElement(tuning, "tuning-octave").text = str(pitch.octave)


def _strokes(
    measure: Element, arrangement: Arrangement, gestures: list[Gesture], quarters: Fraction, divisions: int
) -> None:
    """Add what is struck at one place; one note a string, those of the tune first."""
    taken: set[int] = set()
    for gesture in gestures:
        for struck in gesture.notes:
            if struck.string in taken:
                continue
            note = SubElement(measure, "note")
            if taken:
                SubElement(note, "chord")
            taken.add(struck.string)
            add_pitch(note, spell(struck.midi, arrangement.song.key))
            _length(note, quarters, divisions)
            if gesture.action == "chop":
                SubElement(note, "notehead").text = "x"
            notations = SubElement(note, "notations")
            technical = SubElement(notations, "technical")
            SubElement(technical, "string").text = str(struck.string)
            SubElement(technical, "fret").text = str(struck.fret)
            if gesture.action == "roll":
                SubElement(notations, "arpeggiate", direction="up")


def _length(note: Element, quarters: Fraction, divisions: int) -> None:
    SubElement(note, "duration").text = str(int(quarters * divisions))
    SubElement(note, "voice").text = "1"
    add_value(note, quarters)
