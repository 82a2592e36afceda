"""Chord symbols of MusicXML, in and out: root, kind, degrees, bass and diagram."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from tercet.exchange.chord_names import read_chord_name
from tercet.exchange.harmony import kind_of, nearest_chord, plain_tone
from tercet.exchange.leadsheet import LeadChord
from tercet.neck import fault_of_fingers, fault_of_stretch
from tercet.song import ChordSpan
from tercet.song.chord_shapes import as_held
from tercet.theory import INSTRUMENTS, LAST_FRET, Chord
from tercet.theory.chords import MUSICXML_KINDS, ChordNameError
from tercet.theory.pitch import PITCH_CLASSES, SIGNS

__all__ = ["Symbol", "add_harmony", "read_symbol"]

_WHOLE = re.compile(r"-?\d{1,2}")


@dataclass(frozen=True, slots=True)
class Symbol:
    """What a symbol says: its chord, None when it can't be kept; and what was changed, or empty."""

    chord: LeadChord | None
    remark: str = ""


def read_symbol(element: Element, start_quarter: Fraction) -> Symbol:
    """Read one chord symbol that stands at a place of its measure."""
    kind = (element.findtext("kind") or "").strip()
    kind_element = element.find("kind")
    text = (kind_element.get("text", "") if kind_element is not None else "").strip()
    if kind == "none" or text.upper().rstrip(".") in ("N.C", "NC"):
        return Symbol(LeadChord(start_quarter, None))
    root = _tone(element, "root")
    step = element.findtext("root/root-step") or element.findtext("numeral/numeral-root") or "?"
    shown = f"{step.strip()} {text or kind}".strip()[:30]
    if root is None:
        return Symbol(None, f"chord symbol {shown} can't be read and is left out")
    degrees = [
        (
            (degree.findtext("degree-type") or "add").strip(),
            _number(degree, "degree-value"),
            _number(degree, "degree-alter"),
        )
        for degree in element.findall("degree")
    ]
    bass = _tone(element, "bass")
    if not kind and not text:
        kind = "major"
    if kind in MUSICXML_KINDS:
        chord, exact = nearest_chord(root, kind, degrees, bass)
    else:
        named = _by_its_text(root, text, bass)
        if named is None:
            return Symbol(None, f"chord symbol {shown} isn't one that songs have, and is left out")
        chord, exact = named
    return Symbol(
        LeadChord(start_quarter, chord, *_frame(element)), "" if exact else _changed(shown, degrees, chord)
    )


def _by_its_text(root: tuple[str, int], text: str, bass: tuple[str, int] | None) -> tuple[Chord, bool] | None:
    """Return the chord that a symbol's text names, for a kind that says too little, and whether it is the same."""
    if not text:
        return None
    sign = SIGNS[root[1]]
    try:
        named = read_chord_name(f"{root[0]}{sign}{text}")
    except ChordNameError:
        return None
    return replace(named.chord, bass=bass or named.chord.bass), named.exact


def _changed(shown: str, degrees: list[tuple[str, int, int]], chord: Chord) -> str:
    added = "".join(f" {what} {SIGNS.get(alter, alter)}{degree}" for what, degree, alter in degrees)
    return f"chord symbol {shown}{added[:40]} became {chord}"


def _number(element: Element, name: str) -> int:
    text = (element.findtext(name) or "0").strip()
    return int(text) if _WHOLE.fullmatch(text) else 0


def _tone(element: Element, name: str) -> tuple[str, int] | None:
    """Return letter and alteration of a root or bass; None when there is none that can be read."""
    step = (element.findtext(f"{name}/{name}-step") or "").strip()
    alter = _number(element, f"{name}/{name}-alter")
    if step not in PITCH_CLASSES:
        return None
    return plain_tone(step, alter)[0]


def _frame(element: Element) -> tuple[tuple[int | None, ...] | None, tuple[int, ...] | None]:
    """Return shape and fingers of a chord diagram of four strings, string 4 first; None for what it doesn't have."""
    frame = element.find("frame")
    if frame is None or (frame.findtext("frame-strings") or "").strip() != "4":
        return None, None
    frets: dict[str, int] = {}
    fingers: dict[str, int] = {}
    for note in frame.findall("frame-note"):
        string, fret = (note.findtext("string") or "").strip(), (note.findtext("fret") or "").strip()
        if string in ("1", "2", "3", "4") and re.fullmatch(r"\d{1,2}", fret) and int(fret) <= LAST_FRET:
            frets[string] = int(fret)
            finger = (note.findtext("fingering") or "").strip()
            fingers[string] = int(finger) if re.fullmatch("[0-4]", finger) else 0
    if not frets:
        return None, None
    shape = tuple(frets.get(string) for string in "4321")
    return shape, _set_on(shape, tuple(fingers.get(string, 0) for string in "4321"))


def _set_on(shape: tuple[int | None, ...], fingers: tuple[int, ...]) -> tuple[int, ...] | None:
    """Return the fingers of a diagram where it names any and a hand can set them so."""
    held = as_held(shape)
    usable = any(fingers) and not fault_of_fingers(held, fingers)
    return (
        fingers
        if usable and not fault_of_stretch(held, fingers, INSTRUMENTS["concert"].scale_length_mm)
        else None
    )


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
    _add_tone(root, "root", (chord.letter, chord.alter))
    kind, degrees = kind_of(chord.quality)
    SubElement(harmony, "kind", text=chord.quality.name).text = kind
    if chord.bass is not None:
        _add_tone(SubElement(harmony, "bass"), "bass", chord.bass)
    for action, value, alter in degrees:
        degree = SubElement(harmony, "degree")
        SubElement(degree, "degree-value").text = str(value)
        SubElement(degree, "degree-alter").text = str(alter)
        SubElement(degree, "degree-type").text = action
    if span.shape is not None:
        _add_frame(harmony, span.shape, span.fingers or (0, 0, 0, 0))
    _add_offset(harmony, offset_units)


def _add_offset(harmony: Element, units: int) -> None:
    if units:
        SubElement(harmony, "offset").text = str(units)


def _add_tone(element: Element, name: str, tone: tuple[str, int]) -> None:
    SubElement(element, f"{name}-step").text = tone[0]
    if tone[1]:
        SubElement(element, f"{name}-alter").text = str(tone[1])


def _add_frame(harmony: Element, shape: tuple[int | None, ...], fingers: tuple[int, ...]) -> None:
    frame = SubElement(harmony, "frame")
    SubElement(frame, "frame-strings").text = "4"
    SubElement(frame, "frame-frets").text = str(max(4, *(fret or 0 for fret in shape)))
    for index, (fret, finger) in enumerate(zip(shape, fingers, strict=True)):
        if fret is not None:
            note = SubElement(frame, "frame-note")
            SubElement(note, "string").text = str(4 - index)
            SubElement(note, "fret").text = str(fret)
            if finger:
                SubElement(note, "fingering").text = str(finger)
