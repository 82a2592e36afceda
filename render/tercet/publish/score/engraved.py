"""What the engraver drew, as a few frozen shapes: lines of music that can be written as SVG or set on a page.

Lengths are in the engraver's fine units, x to the right and y down; a space between staff lines is 180 of them. A line
of music (a *system*) keeps the coordinates of the page on which it was drawn, and says which box holds it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tercet.publish.letters import Style
from tercet.publish.score.score_parts import TextKind

__all__ = ["Glyph", "Group", "Lettering", "Outline", "Part", "System", "letterings", "parts_named"]


@dataclass(frozen=True, slots=True)
class Glyph:
    """A musical sign: its name in the table of signs, where its origin lies, and its scale."""

    sign: str
    x: float
    y: float
    scale: float


@dataclass(frozen=True, slots=True)
class Outline:
    """A line or an area.

    Parameters
    ----------
    path
        As in the ``d`` of an SVG path.
    width
        Of the line, 0 for none.
    filled
        Whether the area is filled.
    """

    path: str
    width: float = 0.0
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Lettering:
    """A line of text on the baseline y; `x` is its start, its middle (anchor 0.5) or its end (1)."""

    x: float
    y: float
    size: float
    text: str
    kind: TextKind
    style: Style = "plain"
    anchor: float = 0.0


@dataclass(frozen=True, slots=True)
class Group:
    """Shapes that belong together.

    Parameters
    ----------
    name
        Name of the element; empty for none.
    classes
        What it is: ``note``, ``tabGrp``, ``arpeg``, ``melody``, ``under``, …
    parts
        From the back to the front.
    turned
        Degrees clockwise, and the point that it is turned round.
    """

    name: str
    classes: tuple[str, ...]
    parts: tuple[Part, ...]
    turned: tuple[float, float, float] | None = None


Part = Glyph | Outline | Lettering | Group


@dataclass(frozen=True, slots=True)
class System:
    """One line of music.

    Parameters
    ----------
    parts
        What is drawn.
    left, top, width, height
        The box that holds it.
    bars
        Names of its printed bars, in order.
    """

    parts: tuple[Part, ...]
    left: float
    top: float
    width: float
    height: float
    bars: tuple[str, ...]


def letterings(parts: tuple[Part, ...]) -> Iterator[Lettering]:
    """Yield all text, in order."""
    for part in parts:
        if isinstance(part, Lettering):
            yield part
        elif isinstance(part, Group):
            yield from letterings(part.parts)


def parts_named(parts: tuple[Part, ...]) -> Iterator[Group]:
    """Yield all groups that have a name, the outer before the inner."""
    for part in parts:
        if isinstance(part, Group):
            if part.name:
                yield part
            yield from parts_named(part.parts)
