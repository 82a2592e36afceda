"""Notes of MusicXML in parts: pitch, time signature, and the look of a length."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from tercet.song import Meter
from tercet.theory import Pitch

__all__ = ["add_pitch", "add_time", "add_value"]

_TYPES = {
    Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter",
    Fraction(1, 2): "eighth", Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th",
}  # fmt: skip
_DOTS = {0: Fraction(1), 1: Fraction(3, 2), 2: Fraction(7, 4)}
_TUPLETS = ((1, 1), (3, 2), (5, 4), (7, 4))


def add_value(element: Element, quarters: Fraction) -> None:
    """Add the type of a note, its dots and its tuplet; nothing for a length that no single note has."""
    for actual, normal in _TUPLETS:
        for dots, longer in _DOTS.items():
            value = _TYPES.get(quarters * Fraction(actual, normal) / longer)
            if value is None:
                continue
            SubElement(element, "type").text = value
            for _ in range(dots):
                SubElement(element, "dot")
            if actual > 1:
                modification = SubElement(element, "time-modification")
                SubElement(modification, "actual-notes").text = str(actual)
                SubElement(modification, "normal-notes").text = str(normal)
            return


def add_time(attributes: Element, meter: Meter) -> None:
    """Add a time signature."""
    time = SubElement(attributes, "time")
    SubElement(time, "beats").text = str(meter.upper)
    SubElement(time, "beat-type").text = str(meter.lower)


def add_pitch(element: Element, pitch: Pitch) -> None:
    """Add a pitch to a note."""
    child = SubElement(element, "pitch")
    SubElement(child, "step").text = pitch.letter
    if pitch.alter:
        SubElement(child, "alter").text = str(pitch.alter)
    SubElement(child, "octave").text = str(pitch.octave)
