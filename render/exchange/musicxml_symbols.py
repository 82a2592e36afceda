"""Chord symbols of MusicXML: root, kind, degrees, bass and diagram, as the chord of ours that sounds like them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from render.exchange.harmony import nearest_chord
from render.exchange.leadsheet import LeadChord
from render.theory import Chord
from render.theory.pitch import PITCH_CLASSES

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

__all__ = ["Symbol", "read_symbol"]

_PLAIN = {pitch_class: (letter, 0) for letter, pitch_class in PITCH_CLASSES.items()}
_PLAIN |= {1: ("D", -1), 3: ("E", -1), 6: ("F", 1), 8: ("A", -1), 10: ("B", -1)}
"""How a tone with two sharps or flats is written with at most one."""

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
    chord, exact = nearest_chord(root, kind, degrees, _tone(element, "bass"), text)
    if chord is None:
        return Symbol(None, f"chord symbol {shown} isn't one that songs have, and is left out")
    return Symbol(
        LeadChord(start_quarter, chord, _frame(element)), "" if exact else _changed(shown, degrees, chord)
    )


def _changed(shown: str, degrees: list[tuple[str, int, int]], chord: Chord) -> str:
    signs = {-1: "b", 0: "", 1: "#"}
    added = "".join(f" {what} {signs.get(alter, alter)}{degree}" for what, degree, alter in degrees)
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
    return (step, alter) if abs(alter) < 2 else _PLAIN[(PITCH_CLASSES[step] + alter) % 12]


def _frame(element: Element) -> tuple[int | None, ...] | None:
    """Return the shape of a chord diagram of four strings, string 4 first; None without one."""
    frame = element.find("frame")
    if frame is None or (frame.findtext("frame-strings") or "").strip() != "4":
        return None
    frets: dict[str, int] = {}
    for note in frame.findall("frame-note"):
        string, fret = (note.findtext("string") or "").strip(), (note.findtext("fret") or "").strip()
        if string in ("1", "2", "3", "4") and re.fullmatch(r"\d|1[0-5]", fret):
            frets[string] = int(fret)
    return tuple(frets.get(string) for string in "4321") if frets else None
