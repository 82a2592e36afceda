"""How much room shapes take: boxes around signs, lines and text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians, sin

from tercet.publish.letters import text_width_em
from tercet.publish.score.engraved import Glyph, Group, Lettering, Outline, Part

__all__ = ["Box", "box_of", "boxes_of", "lettering_box"]

ASCENT_EM, DESCENT_EM = 0.76, 0.24
"""How far letters reach above and below the baseline, in ems (Noto Sans: ascenders 766, descenders −240 of 1000)."""


@dataclass(frozen=True, slots=True)
class Box:
    """A box: x from `left` to `right`, y from `top` down to `bottom`."""

    left: float
    top: float
    right: float
    bottom: float

    def joined(self, other: Box) -> Box:
        """Return the box around both."""
        return Box(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )


def box_of(parts: tuple[Part, ...], signs: Mapping[str, str]) -> Box:
    """Return the box around shapes; an empty one at the origin when there are none."""
    found: Box | None = None
    for box in boxes_of(parts, signs):
        found = box if found is None else found.joined(box)
    return found or Box(0.0, 0.0, 0.0, 0.0)


def lettering_box(part: Lettering) -> Box:
    """Return the box around a text."""
    width = text_width_em(part.text, part.style) * part.size
    left = part.x - part.anchor * width
    return Box(left, part.y - ASCENT_EM * part.size, left + width, part.y + DESCENT_EM * part.size)


def boxes_of(parts: tuple[Part, ...], signs: Mapping[str, str], but: Part | None = None) -> Iterator[Box]:
    """Yield the box of every sign, line and text, without one of them if that is asked for."""
    for part in parts:
        if part is but:
            continue
        match part:
            case Group():
                for box in boxes_of(part.parts, signs, but):
                    yield _turned(box, part.turned) if part.turned else box
            case Glyph():
                left, low, right, high = _path_bounds(signs.get(part.sign, ""))
                scale = part.scale
                yield Box(
                    part.x + left * scale, part.y - high * scale, part.x + right * scale, part.y - low * scale
                )
            case Outline():
                left, top, right, bottom = _path_bounds(part.path)
                half = part.width / 2
                yield Box(left - half, top - half, right + half, bottom + half)
            case Lettering():
                yield lettering_box(part)


def _turned(box: Box, turn: tuple[float, float, float]) -> Box:
    """Return the box around a box that is turned."""
    angle, x0, y0 = turn
    cosine, sine = cos(radians(angle)), sin(radians(angle))
    corners = [(x - x0, y - y0) for x in (box.left, box.right) for y in (box.top, box.bottom)]
    xs = [x0 + x * cosine - y * sine for x, y in corners]
    ys = [y0 + x * sine + y * cosine for x, y in corners]
    return Box(min(xs), min(ys), max(xs), max(ys))


@lru_cache(maxsize=8192)
def _path_bounds(path: str) -> tuple[float, float, float, float]:
    """Return the least and greatest x and y of a path, control points included: (x, y, x, y)."""
    from fontTools.pens.boundsPen import ControlBoundsPen
    from fontTools.svgLib.path import parse_path

    if not path:
        return 0.0, 0.0, 0.0, 0.0
    pen = ControlBoundsPen(None)
    parse_path(path, pen)
    left, low, right, high = pen.bounds or (0, 0, 0, 0)
    return float(left), float(low), float(right), float(high)
