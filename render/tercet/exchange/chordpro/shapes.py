"""Shapes of chords as ``{define}`` gives them, in and out."""

from __future__ import annotations

import re

from tercet.exchange.chordpro.signs import Remarks, chord_named
from tercet.song.chord_shapes import read_shape
from tercet.song.mistakes import SlipError

__all__ = ["define_text", "read_shape_of"]

Frets = tuple[int | None, ...]
Fingers = tuple[int, ...]

_LEFT_OUT = ("x", "X", "N", "-1", "-")
_STRINGS = 4
_PART = re.compile(r"(base-fret|frets|fingers)((?:\s+[\dxXN-]+)+)")
_NAME = re.compile(r"\[?([^\s\]\[]{1,30})\]?:?\s+(.*)")


def read_shape_of(told: str, line: int, remarks: Remarks) -> tuple[str, Frets, Fingers | None] | None:
    """Return the chord, frets and fingers that a directive gives, string 4 first; None, with a remark, for no shape."""
    named = _NAME.fullmatch(told)
    if named is None:
        return None
    parts = {found[1]: found[2].split() for found in _PART.finditer(named[2])}
    chord = chord_named(named[1])
    if chord is None or chord[0] is None or "frets" not in parts:
        remarks.add("a shape without frets, or of no chord, is passed over", line)
        return None
    if len(parts["frets"]) != _STRINGS:
        remarks.add("a shape that isn't for four strings is passed over", line)
        return None
    base = int(parts["base-fret"][0]) if parts.get("base-fret", [""])[0].isdecimal() else 1
    frets = [_fret(text, base) for text in parts["frets"]]
    fingers = [text if text.isdecimal() else "0" for text in parts.get("fingers", [])]
    written = ".".join("x" if fret is None else str(fret) for fret in frets)
    for ending in ([f"/{_fingers(frets, fingers)}"] if len(fingers) == _STRINGS else []) + [""]:
        try:
            shape = read_shape(written + ending)
        except SlipError as wrong:
            remarks.add(f"a shape of {chord[0]} is passed over, or its fingers are ({wrong})", line)
            continue
        return str(chord[0]), shape.frets, shape.fingers
    return None


def _fret(text: str, base: int) -> int | None:
    if text in _LEFT_OUT or not text.isdecimal():
        return None
    return int(text[:3]) + base - 1 if int(text[:3]) else 0


def _fingers(frets: list[int | None], fingers: list[str]) -> str:
    return "".join("x" if fret is None else finger[:1] for fret, finger in zip(frets, fingers, strict=True))


def define_text(chord: str, frets: Frets, fingers: Fingers = ()) -> str:
    """Return the directive of a shape.

    >>> define_text("C7", (0, 0, 0, 1), (0, 0, 0, 1))
    '{define: C7 base-fret 1 frets 0 0 0 1 fingers 0 0 0 1}'
    """
    pressed = [fret for fret in frets if fret]
    base = min(pressed) if pressed and max(pressed) > 4 else 1
    shown = " ".join("x" if fret is None else str(fret - base + 1 if fret else 0) for fret in frets)
    held = f" fingers {' '.join(map(str, fingers))}" if any(fingers) else ""
    return "".join(("{define: ", str(chord), " base-fret ", str(base), " frets ", shown, held, "}"))
