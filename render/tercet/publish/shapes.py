"""Shapes: what pictures and printed music are drawn of.

Lengths are in the drawing's own units, x to the right and y down from the upper left corner. `tercet.publish.svg` and
`tercet.publish.pdf` write the same shapes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

__all__ = [
    "ANCHOR_PART",
    "Anchor",
    "Disc",
    "Drawing",
    "Group",
    "Ink",
    "Outline",
    "Path",
    "Placing",
    "Point",
    "Shape",
    "Sign",
    "Style",
    "Text",
    "cross",
    "groups_in",
    "texts_in",
]

Point = tuple[float, float]
"""A place: (x, y)."""

Anchor = Literal["start", "middle", "end"]
"""Which point of a text lies at its x."""

ANCHOR_PART: dict[Anchor, float] = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""How much of a text lies before its x."""

Style = Literal["plain", "bold", "italic"]
"""Weight and slant of letters."""


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
class Outline:
    """A line `width` wide (0 for none), or an area, as in the ``d`` of an SVG path; in the colour around it."""

    path: str
    width: float = 0.0
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Sign:
    """A musical sign, in the colour around it: its name among the drawing's signs, its origin, and its scale."""

    sign: str
    x: float
    y: float
    scale: float


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text on the baseline y, its start, middle or end at x; without a `colour`, in the one around it."""

    x: float
    y: float
    text: str
    size: float
    colour: str = ""
    anchor: Anchor = "start"
    style: Style = "plain"
    name: str = ""


@dataclass(frozen=True, slots=True)
class Placing:
    """Where a group lies in what is around it: its origin at (x, y), each of its units `scale` long."""

    x: float
    y: float
    scale: float


@dataclass(frozen=True, slots=True)
class Group:
    """Shapes that belong together, from the back to the front.

    Parameters
    ----------
    shapes
        The shapes.
    name
        What they are, in a word or several: ``note melody``.
    title
        Is read out, and shown where a pointer rests on the group.
    id
        A name that no other group has; empty for none.
    colour
        Of the text, signs and areas within that have none of their own; empty for the one around.
    placing
        Where its own units lie; None where they are those around.
    turned
        Degrees clockwise, and the point that it is turned round.
    """

    shapes: tuple[Shape, ...]
    name: str = ""
    title: str = ""
    id: str = ""
    colour: str = ""
    placing: Placing | None = None
    turned: tuple[float, float, float] | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The words of its name."""
        return tuple(self.name.split())


Shape = Path | Disc | Outline | Sign | Text | Group


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture.

    Parameters
    ----------
    width, height
        Its size.
    shapes
        From the back to the front.
    background
        Colour of the paper.
    title, description
        What it is called, and what it shows in words.
    ink
        Colour of what has none of its own.
    signs
        Outlines of the musical signs by name: ``d`` of SVG paths whose y grows upward.
    """

    width: float
    height: float
    shapes: tuple[Shape, ...]
    background: str
    title: str
    description: str = ""
    ink: str = "#000000"
    signs: Mapping[str, str] = field(default_factory=dict)


def cross(x: float, y: float, reach: float, ink: Ink, name: str) -> tuple[Path, Path]:
    """Return a cross round (x, y); the first of its lines has the name."""
    return (
        Path(((x - reach, y - reach), (x + reach, y + reach)), ink, name=name),
        Path(((x - reach, y + reach), (x + reach, y - reach)), ink),
    )


def texts_in(shapes: Iterable[Shape]) -> Iterator[Text]:
    """Yield every text of some shapes, from the back to the front."""
    for shape in shapes:
        if isinstance(shape, Text):
            yield shape
        elif isinstance(shape, Group):
            yield from texts_in(shape.shapes)


def groups_in(shapes: Iterable[Shape]) -> Iterator[Group]:
    """Yield every group that has an id, the outer before the inner."""
    for shape in shapes:
        if isinstance(shape, Group):
            if shape.id:
                yield shape
            yield from groups_in(shape.shapes)
