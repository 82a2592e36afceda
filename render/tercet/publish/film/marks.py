"""Marks of what sounds: a head over each string of the tab, near or far as it sounds; the note, the word and the sign.

What is heard is a filled head, large where it is loud and small where it is soft; what a student is to play is hollow.
While a string rings on, its head is pale.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil

from tercet.publish.film.lines import Spot
from tercet.publish.film.pixels import Sprite, sprite_of
from tercet.publish.film.times import Shown
from tercet.publish.pictures.looks import LOOKS, PAPER, RADIUS_MF, ink_of, radius_of, toned
from tercet.publish.shapes import Disc, Drawing, Ink, Path, Shape, Style, Text
from tercet.song import Layer

__all__ = ["STRUCK_S", "Mark", "head_of", "note_of", "word_of"]

STRUCK_S = 0.2
"""So long a head has its full ink; then the string rings on."""

MIDDLE, SMALLEST, LARGEST = 0.64, 0.54, 0.88
"""Half a head's size at mf, and the least and the most, as parts of the gap between two strings."""

ROOM = 0.56
"""Half a head's size is at least this part of its digit's height, so that the digit has room."""

LEAST_INK = 0.6
"""Of a head that is struck: a paler one is lost from afar."""

RINGING_INK, SOFT_INK = 0.42, 0.6
"""Ink of a string that rings on, and of a guide."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A sprite, and where its upper left corner lies in its line."""

    sprite: Sprite
    x: int
    y: int


def head_of(spot: Spot, gap: float, layer: Layer, level_db: float, shown: Shown, *, ringing: bool) -> Mark:
    """Return the head over a digit of the tab."""
    part = min(max(MIDDLE * radius_of(level_db) / RADIUS_MF, SMALLEST), LARGEST)
    radius = max(part * gap, ROOM * spot.size)
    ink = max(round(ink_of(level_db), 1), LEAST_INK) * (SOFT_INK if shown == "soft" else 1.0)
    if ringing:
        ink *= RINGING_INK
    key = layer, round(radius * 2.0) / 2.0, round(ink, 2), shown, ringing
    sprite = _head(*key, spot.text, round(spot.size, 1), spot.style)
    return _centred(sprite, spot.x, spot.y)


def _centred(sprite: Sprite, x: float, y: float) -> Mark:
    return Mark(sprite, 2 * round((x - sprite.width / 2) / 2), 2 * round((y - sprite.height / 2) / 2))


@lru_cache(maxsize=2048)
def _head(
    layer: Layer,
    radius: float,
    ink: float,
    shown: Shown,
    ringing: bool,
    text: str,
    size: float,
    style: Style,
) -> Sprite:
    look = LOOKS[layer]
    tone = toned(look.colour, ink)
    side = 2 * ceil(1.35 * radius) + 4
    middle = side / 2
    hollow = shown == "yours" or look.head == "ring"
    rim = max((0.16 if ringing else 0.3) * radius, 1.2)
    if hollow:
        dash = (1.6 * rim, 1.6 * rim) if shown == "yours" else ()
        inks = Ink(fill=PAPER, stroke=tone, width=rim, dash=dash)
    else:
        inks = Ink(fill=tone, stroke=PAPER, width=max(0.1 * radius, 1.0))
    shapes: list[Shape] = [_outline(look.head, middle, radius - (rim / 2 if hollow else 0.0), inks)]
    if text:
        colour = look.colour if hollow or ringing else PAPER
        shapes.append(Text(middle, middle + 0.357 * size, text, size, colour, "middle", style=style))
    return sprite_of(Drawing(side, side, tuple(shapes), "none", "a head"))


def _outline(head: str, middle: float, radius: float, ink: Ink) -> Shape:
    if head == "diamond":
        reach = 1.25 * radius
        points = (
            (middle, middle - reach),
            (middle + reach, middle),
            (middle, middle + reach),
            (middle - reach, middle),
        )
        return Path(points, ink, closed=True)
    if head == "square":
        half = 0.88 * radius
        points = (
            (middle - half, middle - half),
            (middle + half, middle - half),
            (middle + half, middle + half),
            (middle - half, middle + half),
        )
        return Path(points, ink, closed=True)
    return Disc(middle, middle, radius, ink)


def note_of(spot: Spot, layer: Layer, shown: Shown) -> Mark:
    """Return what surrounds a note of the staff while its string is struck."""
    return _centred(_ring(LOOKS[layer].colour, round(0.95 * spot.width, 1), shown == "yours"), spot.x, spot.y)


@lru_cache(maxsize=64)
def _ring(colour: str, radius: float, hollow: bool) -> Sprite:
    side = 2 * ceil(1.2 * radius) + 4
    width = max(0.16 * radius, 1.5)
    dash = (1.6 * width, 1.6 * width) if hollow else ()
    ring = Disc(side / 2, side / 2, radius, Ink(stroke=colour, width=width, dash=dash))
    return sprite_of(Drawing(side, side, (ring,), "none", "a ring"))


def word_of(spot: Spot, layer: Layer) -> Mark:
    """Return the line under a syllable that is sung, or under a strum's sign."""
    width = 2 * ceil(max(spot.width, 4.0) / 2)
    height = 2 * ceil(0.14 * spot.size / 2)
    sprite = _bar(LOOKS[layer].colour, width, height)
    return Mark(
        sprite, 2 * round((spot.x - width / 2) / 2), 2 * round((spot.baseline_y + 0.16 * spot.size) / 2)
    )


@lru_cache(maxsize=256)
def _bar(colour: str, width: int, height: int) -> Sprite:
    points = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
    return sprite_of(Drawing(width, height, (Path(points, Ink(fill=colour), closed=True),), "none", "a line"))
