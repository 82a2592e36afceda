"""Notes within a line of text: the tempo's note and the sign of swing, drawn of plain shapes."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import cos, pi, sin

from tercet.publish.shapes import Ink, Path, Shape, Text
from tercet.publish.typefaces import text_width_em
from tercet.song import Meter

__all__ = ["pulse_note", "swing_sign"]

_ROUND = 20
"""Corners of a note's head."""

QUARTER_BITS = 3
"""Of the 4 of a quarter; an eighth has one more, and a flag, a sixteenth two."""

HEAD_EM, STEM_EM = 0.34, 0.95
"""Width of a head and length of a stem, in ems of the text around."""


def pulse_note(meter: Meter, x: float, y: float, size: float, colour: str) -> tuple[tuple[Shape, ...], float]:
    """Return the note that the tempo counts, on the baseline y, and where it ends.

    A quarter in 3/4, a dotted quarter in 6/8, a half in 2/2.
    """
    dotted = meter.pulse_beat == 3
    value = meter.pulse_beat / meter.lower * (Fraction(2, 3) if dotted else 1)
    shapes = list(_note(x, y, size, colour, filled=value < Fraction(1, 2)))
    flags = max(value.denominator.bit_length() - QUARTER_BITS, 0)
    shapes += _flags(x, y, size, colour, flags)
    end = x + (HEAD_EM + 0.2 * bool(flags)) * size
    if dotted:
        shapes.append(_head(end + 0.14 * size, y - 0.13 * size, 0.055 * size, 0.055 * size, Ink(fill=colour)))
        end += 0.22 * size
    return tuple(shapes), end


def swing_sign(
    x: float, y: float, size: float, colour: str, *, triplet: bool
) -> tuple[tuple[Shape, ...], float]:
    """Return the sign of swing on the baseline y, and where it ends: two equal eighths are played long and short.

    With `triplet` long and short are those of a triplet.
    """
    shapes: list[Shape] = [*_pair(x, y, size, colour)]
    x += 1.25 * size
    shapes.append(Text(x, y, "=", size, colour))
    x += (text_width_em("=") + 0.25) * size
    shapes += _note(x, y, size, colour)
    shapes += _note(x + 0.72 * size, y, size, colour)
    shapes += _flags(x + 0.72 * size, y, size, colour, 1)
    if triplet:
        shapes += _triplet(x, y, size, colour)
    return tuple(shapes), x + 1.3 * size


def _triplet(x: float, y: float, size: float, colour: str) -> Iterator[Shape]:
    """Yield a bracket with a 3 above a quarter and an eighth."""
    left, right, top = x + 0.1 * size, x + 1.2 * size, y - 1.28 * size
    middle = (left + right) / 2
    ink = Ink(stroke=colour, width=0.06 * size)
    yield Path(((left, top + 0.15 * size), (left, top), (middle - 0.22 * size, top)), ink)
    yield Path(((middle + 0.22 * size, top), (right, top), (right, top + 0.15 * size)), ink)
    yield Text(middle, top + 0.2 * size, "3", 0.6 * size, colour, "middle")


def _note(x: float, y: float, size: float, colour: str, *, filled: bool = True) -> Iterator[Shape]:
    """Yield a head and a stem."""
    ink = Ink(fill=colour) if filled else Ink(stroke=colour, width=0.07 * size)
    yield _head(x + HEAD_EM / 2 * size, y - 0.13 * size, HEAD_EM / 2 * size, 0.125 * size, ink)
    stem = x + (HEAD_EM - 0.03) * size
    yield Path(((stem, y - 0.16 * size), (stem, y - STEM_EM * size)), Ink(stroke=colour, width=0.07 * size))


def _pair(x: float, y: float, size: float, colour: str) -> Iterator[Shape]:
    """Yield two eighths under one beam."""
    gap = 0.62 * size
    yield from _note(x, y, size, colour)
    yield from _note(x + gap, y, size, colour)
    left, right = x + (HEAD_EM - 0.065) * size, x + gap + (HEAD_EM + 0.005) * size
    top, thick = y - STEM_EM * size, 0.15 * size
    corners = ((left, top), (right, top), (right, top + thick), (left, top + thick))
    yield Path(corners, Ink(fill=colour), closed=True)


def _flags(x: float, y: float, size: float, colour: str, count: int) -> Iterator[Shape]:
    stem, top = x + (HEAD_EM - 0.03) * size, y - STEM_EM * size
    for index in range(count):
        tip = top + 0.2 * index * size
        points = (
            (stem, tip),
            (stem + 0.12 * size, tip + 0.18 * size),
            (stem + 0.16 * size, tip + 0.42 * size),
        )
        yield Path(points, Ink(stroke=colour, width=0.08 * size))


def _head(x: float, y: float, wide: float, high: float, ink: Ink) -> Path:
    """Return a head: an ellipse that leans by 20 degrees."""
    tilt = -pi / 9
    points = []
    for corner in range(_ROUND):
        angle = 2 * pi * corner / _ROUND
        along, across = wide * cos(angle), high * sin(angle)
        points.append(
            (x + along * cos(tilt) - across * sin(tilt), y + along * sin(tilt) + across * cos(tilt))
        )
    return Path(tuple(points), ink, closed=True)
