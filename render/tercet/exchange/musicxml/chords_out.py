"""Chord symbols of a MusicXML export: root, kind, degrees, bass, and a diagram where the song pins a shape."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement

from tercet.exchange.harmony import kind_of
from tercet.song import ChordSpan

__all__ = ["add_harmony"]


def add_harmony(measure: Element, span: ChordSpan, offset_units: int) -> None:
    """Add a chord symbol, so many units after where the measure has come to."""
    harmony = SubElement(measure, "harmony")
    root = SubElement(harmony, "root")
    chord = span.chord
    if chord is None:
        SubElement(root, "root-step", text="").text = "C"
        SubElement(harmony, "kind", text="N.C.").text = "none"
        _add_offset(harmony, offset_units)
        return
    _tone(root, "root", (chord.letter, chord.alter))
    kind, degrees = kind_of(chord.quality)
    SubElement(harmony, "kind", text=chord.quality.name).text = kind
    if chord.bass is not None:
        _tone(SubElement(harmony, "bass"), "bass", chord.bass)
    for action, value, alter in degrees:
        degree = SubElement(harmony, "degree")
        SubElement(degree, "degree-value").text = str(value)
        SubElement(degree, "degree-alter").text = str(alter)
        SubElement(degree, "degree-type").text = action
    if span.shape is not None:
        _frame(harmony, span.shape)
    _add_offset(harmony, offset_units)


def _add_offset(harmony: Element, units: int) -> None:
    if units:
        SubElement(harmony, "offset").text = str(units)


def _tone(element: Element, name: str, tone: tuple[str, int]) -> None:
    SubElement(element, f"{name}-step").text = tone[0]
    if tone[1]:
        SubElement(element, f"{name}-alter").text = str(tone[1])


def _frame(harmony: Element, shape: tuple[int | None, ...]) -> None:
    frame = SubElement(harmony, "frame")
    SubElement(frame, "frame-strings").text = "4"
    SubElement(frame, "frame-frets").text = str(max(4, *(fret or 0 for fret in shape)))
    for index, fret in enumerate(shape):
        if fret is not None:
            note = SubElement(frame, "frame-note")
            SubElement(note, "string").text = str(4 - index)
            SubElement(note, "fret").text = str(fret)
