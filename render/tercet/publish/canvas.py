"""A drawing: a few frozen shapes, and their text as SVG 1.1.

Lengths are in drawing units, x to the right and y down from the upper left corner; one unit is one CSS pixel.
Everything is written with two decimals, so that the same drawing is the same bytes everywhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape
from typing import Literal

__all__ = ["Disc", "Drawing", "Group", "Ink", "Path", "Point", "Shape", "Text", "svg_text", "texts_in"]

Point = tuple[float, float]
"""A place: (x, y)."""

FONT_FAMILY = "Noto Sans"
"""The font of all text; a viewer that lacks it takes its own sans serif."""

_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 (section 2.2) doesn't allow, not even escaped."""


@dataclass(frozen=True, slots=True)
class Ink:
    """How a shape is inked.

    Parameters
    ----------
    fill, stroke
        Colours such as ``#a3301c``; empty for none.
    width
        Of the stroke.
    dash
        Lengths drawn and left out in turn; empty for a solid stroke. Ends are round.
    """

    fill: str = ""
    stroke: str = ""
    width: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Path:
    """Straight lines from point to point, closed or open; `name` says what it is."""

    points: tuple[Point, ...]
    ink: Ink
    closed: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle round (x, y)."""

    x: float
    y: float
    radius: float
    ink: Ink
    name: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text on the baseline y; `x` is where it starts, where its middle is, or where it ends."""

    x: float
    y: float
    text: str
    size: float
    colour: str
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Shapes that belong together. `title` is read out, and shown where a pointer rests on it."""

    shapes: tuple[Shape, ...]
    name: str = ""
    title: str = ""


Shape = Path | Disc | Text | Group


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture: its size, its shapes from the back to the front, its title and what it shows in words."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    background: str
    title: str
    description: str = ""


def svg_text(drawing: Drawing) -> str:
    """Return a drawing as the text of an SVG file. All text is escaped: it can't end an element or add one."""
    width, height = _number(drawing.width), _number(drawing.height)
    size = f'width="{width}" height="{height}" viewBox="0 0 {width} {height}"'
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" font-family="{FONT_FAMILY}, sans-serif">',
        f"<title>{_plain(drawing.title)}</title>",
        f"<desc>{_plain(drawing.description)}</desc>",
        f'<rect width="{width}" height="{height}" fill="{drawing.background}"/>',
    ]
    for shape in drawing.shapes:
        lines += _elements(shape)
    return "\n".join([*lines, "</svg>", ""])


def texts_in(shapes: Iterable[Shape]) -> Iterator[Text]:
    """Yield every text of some shapes, from the back to the front."""
    for shape in shapes:
        if isinstance(shape, Text):
            yield shape
        elif isinstance(shape, Group):
            yield from texts_in(shape.shapes)


def _elements(shape: Shape) -> Iterator[str]:
    """Yield the lines of one shape."""
    match shape:
        case Path():
            points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
            element = "polygon" if shape.closed else "polyline"
            yield f'<{element}{_named(shape.name)} points="{points}"{_inked(shape.ink)}/>'
        case Disc():
            place = f'cx="{_number(shape.x)}" cy="{_number(shape.y)}" r="{_number(shape.radius)}"'
            yield f"<circle{_named(shape.name)} {place}{_inked(shape.ink)}/>"
        case Text():
            place = f'x="{_number(shape.x)}" y="{_number(shape.y)}" font-size="{_number(shape.size)}"'
            weight = ' font-weight="700"' if shape.bold else ""
            anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
            look = f'{weight}{anchor} fill="{shape.colour}"'
            yield f"<text{_named(shape.name)} {place}{look}>{_plain(shape.text)}</text>"
        case Group():
            yield f"<g{_named(shape.name)}>"
            if shape.title:
                yield f"<title>{_plain(shape.title)}</title>"
            for inner in shape.shapes:
                yield from _elements(inner)
            yield "</g>"


def _inked(ink: Ink) -> str:
    look = f' fill="{ink.fill or "none"}"'
    if ink.stroke:
        look += f' stroke="{ink.stroke}" stroke-width="{_number(ink.width)}"'
        look += ' stroke-linecap="round" stroke-linejoin="round"'
        if ink.dash:
            look += f' stroke-dasharray="{" ".join(_number(length) for length in ink.dash)}"'
    return look


def _named(name: str) -> str:
    return f' class="{_plain(name)}"' if name else ""


def _plain(text: str) -> str:
    """Return text as it may stand in XML."""
    return escape(_NOT_IN_XML.sub("\ufffd", text))


def _number(value: float) -> str:
    """Return a number with at most two decimals, never as -0."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
