"""Chord symbols of MusicXML: root, kind, degrees, bass and diagram, as the chord of ours that sounds like them."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from tercet.exchange.chord_names import read_chord_name
from tercet.exchange.harmony import nearest_chord, plain_tone
from tercet.exchange.leadsheet import LeadChord
from tercet.theory import LAST_FRET, Chord
from tercet.theory.chords import MUSICXML_KINDS, ChordNameError
from tercet.theory.pitch import PITCH_CLASSES, SIGNS

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

__all__ = ["Symbol", "read_symbol"]

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
        LeadChord(start_quarter, chord, _frame(element)), "" if exact else _changed(shown, degrees, chord)
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


def _frame(element: Element) -> tuple[int | None, ...] | None:
    """Return the shape of a chord diagram of four strings, string 4 first; None without one."""
    frame = element.find("frame")
    if frame is None or (frame.findtext("frame-strings") or "").strip() != "4":
        return None
    frets: dict[str, int] = {}
    for note in frame.findall("frame-note"):
        string, fret = (note.findtext("string") or "").strip(), (note.findtext("fret") or "").strip()
        if string in ("1", "2", "3", "4") and re.fullmatch(r"\d{1,2}", fret) and int(fret) <= LAST_FRET:
            frets[string] = int(fret)
    return tuple(frets.get(string) for string in "4321") if frets else None
