"""Lines of music of a film: engraved as large as two fit, and where in them each string, word and sign stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from tercet.arranging import Arrangement
from tercet.publish.film.pixels import Picture, picture_of
from tercet.publish.pictures.looks import PAPER, TEXT
from tercet.publish.score.elements import GestureIds, ScoreLook
from tercet.publish.score.engraving import Engraving, engrave_at
from tercet.publish.score.finished_lines import System, box_of
from tercet.publish.shapes import Drawing, Group, Placing, Shape, Sign, Style, Text, groups_in, texts_in
from tercet.publish.typefaces import text_width_em

__all__ = ["FilmLine", "PieceLines", "Spot", "piece_lines"]

FIRST_WIDTH, NARROWEST, STEP = 1900, 700, 50
"""Lengths of a line of music in the engraver's units: the first tried, the least, and between those tried."""

DROPPED = frozenset({"finger", "bar-number", "section"})
"""Texts that are too small to be read from afar, or stand in a film's head."""

DROPPED_LABELS = frozenset({"finger", "bar"})
"""Names of rows that are dropped."""

FINE = 10.0
"""Fine units of an engraving to the engraver's own."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where something stands in a line's picture, in pixels: its middle, how wide it is; its text and how it is set.

    `baseline_y` and `size` are those of the text.
    """

    x: float
    y: float
    width: float
    text: str = ""
    size: float = 0.0
    baseline_y: float = 0.0
    style: Style = "plain"


@dataclass(frozen=True, slots=True)
class FilmLine:
    """A line of music as drawn.

    Parameters
    ----------
    picture
        Its pixels.
    spots
        Strings, notes, words and signs by the names of their elements.
    edges
        Where each of its bars begins and ends, in pixels, by its name.
    top, foot
        From where down to where staff and tab reach, in pixels.
    gap
        Between two strings of the tab, in pixels.
    """

    picture: Picture
    spots: Mapping[str, Spot]
    edges: Mapping[str, tuple[float, float]]
    top: float
    foot: float
    gap: float


@dataclass(frozen=True, slots=True)
class PieceLines:
    """The lines of a piece, which of them each printed bar stands in, and what shows each gesture and bar played."""

    lines: tuple[FilmLine, ...]
    line_of: Mapping[str, int]
    gesture_ids: tuple[GestureIds, ...]
    bar_ids: tuple[tuple[str, ...], ...]


def piece_lines(arrangement: Arrangement, room: tuple[int, int]) -> PieceLines:
    """Return a piece as lines for a film; `room` is the width and height of one of them, in pixels."""
    width, height = room
    look = ScoreLook(as_played=True, width=FIRST_WIDTH)
    (tried,) = engrave_at(arrangement, look, (FIRST_WIDTH,))
    look = replace(look, in_proportion=True, width=_fitting(tried, width, height))
    (engraving,) = engrave_at(arrangement, look, (look.width,))
    systems = [_lean(system, engraving) for system in engraving.systems]
    scale = min(
        width / max(max((system.left + system.width for system in systems), default=1.0), engraving.width),
        height / max((system.height for system in systems), default=1.0),
    )
    line_of = {bar: number for number, system in enumerate(systems) for bar in system.bars}
    lines = tuple(_line(system, engraving, scale, width) for system in systems)
    return PieceLines(lines, line_of, engraving.score.gesture_ids, engraving.score.bar_ids)


def _fitting(engraving: Engraving, width: int, height: int) -> int:
    """Return how long lines must be for the highest of them to fill the room's height."""
    highest = max((_lean(system, engraving).height for system in engraving.systems), default=1.0)
    return max(ceil(width * highest / height / FINE / STEP) * STEP, NARROWEST)


def _lean(system: System, engraving: Engraving) -> System:
    """Return a line of music without the rows that are too small, and its box."""
    shapes = tuple(_without(system.shapes))
    box = box_of(shapes, engraving.signs)
    return System(shapes, box.left, box.top, box.right - box.left, box.bottom - box.top, system.bars)


def _without(shapes: Sequence[Shape]) -> Iterator[Shape]:
    for shape in shapes:
        match shape:
            case Group():
                yield replace(shape, shapes=tuple(_without(shape.shapes)))
            case Text(name="label") if shape.text in DROPPED_LABELS:
                continue
            case Text() if shape.name in DROPPED:
                continue
            case _:
                yield shape


def _line(system: System, engraving: Engraving, scale: float, width: int) -> FilmLine:
    """Return a line as pixels: its box's upper left corner lies in that of the picture."""
    x, y = -min(system.left, 0.0) * scale, -system.top * scale
    height = 2 * ceil(system.height * scale / 2.0)
    placed = Group(system.shapes, "system", placing=Placing(x, y, scale), colour=TEXT)
    drawing = Drawing(width, height, (placed,), PAPER, "a line of music", ink=TEXT, signs=engraving.signs)
    spots = {
        group.id: spot
        for group in groups_in(system.shapes)
        if (spot := _spot(group, engraving.signs, (x, y, scale))) is not None
    }
    measures = {group.id: group for group in groups_in(system.shapes) if "measure" in group.names}
    boxes = {name: box_of(_staff_lines(group), {}) for name, group in measures.items() if name in system.bars}
    edges = {name: (x + box.left * scale, x + box.right * scale) for name, box in boxes.items()}
    top = min((box.top for box in boxes.values()), default=0.0)
    foot = max((box.bottom for box in boxes.values()), default=0.0)
    tabs = [box_of(lines, {}) for group in measures.values() if (lines := _tab_lines(group))]
    gap = max(((box.bottom - box.top) / 3.0 for box in tabs), default=270.0)
    return FilmLine(picture_of(drawing), spots, edges, y + top * scale, y + foot * scale, gap * scale)


def _staff_lines(measure: Group) -> tuple[Shape, ...]:
    """Return the lines of the staves of a bar."""
    return tuple(
        shape
        for staff in measure.shapes
        if isinstance(staff, Group) and "staff" in staff.names
        for shape in staff.shapes
        if not isinstance(shape, Group | Text | Sign)
    )


def _tab_lines(measure: Group) -> tuple[Shape, ...]:
    """Return the four lines of the tab of a bar."""
    staves = [shape for shape in measure.shapes if isinstance(shape, Group) and "staff" in shape.names]
    for staff in staves:
        lines = tuple(shape for shape in staff.shapes if not isinstance(shape, Group | Text | Sign))
        if len(lines) == 4:
            return lines
    return ()


def _spot(group: Group, signs: Mapping[str, str], placed: tuple[float, float, float]) -> Spot | None:
    """Return where a named group stands: by its notehead, or by its text."""
    x, y, scale = placed
    heads = [shape for shape in group.shapes if isinstance(shape, Group) and "notehead" in shape.names]
    if heads:
        box = box_of(heads[0].shapes, signs)
        middle = (box.left + box.right) / 2, (box.top + box.bottom) / 2
        return Spot(x + middle[0] * scale, y + middle[1] * scale, (box.right - box.left) * scale)
    if any(isinstance(shape, Group) and shape.id for shape in group.shapes):
        return None
    text = next(texts_in(group.shapes), None)
    if text is None:
        return None
    box = box_of((text,), signs)
    return Spot(
        x + (box.left + box.right) / 2 * scale,
        y + (text.y - 0.357 * text.size) * scale,
        text_width_em(text.text, text.style) * text.size * scale,
        text.text,
        text.size * scale,
        y + text.y * scale,
        text.style,
    )
