"""Chord diagrams: a shape as it is held, drawn upright with the nut on top and string 4 on the left.

The tune stands in front here too: the string that holds it has the largest and reddest mark, the strings under it
stand back. A diagram is `ASPECT` times as high as it is wide, and is made of plain shapes and text alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from tercet.publish.paragraphs import fitted
from tercet.publish.pictures.looks import LOOKS, PAPER, TEXT, TEXT_SOFT
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.shapes import Disc, Drawing, Group, Ink, Path, Point, Shape, Text, cross

__all__ = [
    "ASPECT",
    "GRID_ASPECT",
    "chord_diagram",
    "chord_diagram_drawing",
    "first_fret",
    "shape_grid",
    "spoken_shape",
]

UNITS = 80.0
"""Width of a diagram in its own units, in which all that follows is measured."""

HEIGHT, GRID_TOP = 108.0, 22.0
ASPECT, GRID_ASPECT = HEIGHT / UNITS, (HEIGHT - GRID_TOP) / UNITS
"""Height by width, with the chord's name and without."""

NAME_BASELINE, NAME_SIZE, SMALLEST_NAME = 17.0, 18.0, 9.0
SIGNS_Y, NUT_Y, BOTTOM_Y = 29.0, 38.0, 104.0
"""Middle of the row of open and damped strings, the nut, and the lowest fret."""

LEFT_X, STRING_GAP = 20.0, 14.0
FEWEST_FRETS = 4
TUNE_RADIUS, OTHER_RADIUS, OPEN_RADIUS = 7.2, 5.8, 3.6
FINGER_SIZE, POSITION_SIZE = 10.0, 12.0
NECK = "#8b8175"
"""Of strings and frets: seen from afar, yet behind the marks."""

HAND = "#4a433c"
"""Of fingers that don't hold the tune."""

BARRE = "#a79d90"
"""Of the index finger lying flat, behind the strings that it presses."""


@dataclass(frozen=True, slots=True)
class _Board:
    """Where a diagram stands: (x, y) of its upper left corner, `scale` drawing units for each of its own.

    `low` is the fret that lies uppermost, `rows` how many are drawn.
    """

    x: float
    y: float
    scale: float
    low: int
    rows: int
    left_handed: bool

    def at(self, x: float, y: float) -> Point:
        """Return the place in the drawing of a place of the diagram, given for the right hand."""
        across = UNITS - x if self.left_handed else x
        return self.x + self.scale * across, self.y + self.scale * y

    def string_x(self, string: int) -> float:
        """Return where a string lies, 4 on the left."""
        return LEFT_X + STRING_GAP * (4 - string)

    def finger_y(self, fret: int) -> float:
        """Return where a finger lies: in the middle between its fret and the one above."""
        return NUT_Y + (fret - self.low + 0.5) * (BOTTOM_Y - NUT_Y) / self.rows


def chord_diagram(use: ShapeUse, x: float, y: float, width: float, *, left_handed: bool = False) -> Group:
    """Return the diagram of a shape as a group of a drawing.

    Parameters
    ----------
    use
        The shape, its chord and its fingers.
    x, y
        Upper left corner, in drawing units.
    width
        In drawing units; the height is `ASPECT` times as much.
    left_handed
        Whether the neck is mirrored: string 4 on the right.
    """
    board = _board(use, (x, y), width / UNITS, left_handed=left_handed)
    shapes = (*_name(use, board), *_neck(board), *_above_nut(use, board), *_fingers(use, board))
    return Group(shapes, "chord diagram", spoken_shape(use))


def shape_grid(
    use: ShapeUse, corner: Point, width: float, text_size: float, *, left_handed: bool = False
) -> Group:
    """Return the diagram of a shape without its name and its finger numbers, to be seen from afar.

    Parameters
    ----------
    use, left_handed
        As for `chord_diagram`.
    corner, width
        Upper left corner and width, in drawing units; the height is `GRID_ASPECT` times as much.
    text_size
        Of the number of the uppermost fret, in drawing units. A large one stands out at the side.
    """
    scale = width / UNITS
    board = _board(use, (corner[0], corner[1] - scale * GRID_TOP), scale, left_handed=left_handed)
    marks = [mark for mark in _fingers(use, board) if not isinstance(mark, Text)]
    shapes = (*_neck(board, text_size / scale), *_above_nut(use, board), *marks)
    return Group(shapes, "chord diagram", spoken_shape(use))


def _board(use: ShapeUse, corner: Point, scale: float, *, left_handed: bool) -> _Board:
    low = first_fret(use)
    rows = max(FEWEST_FRETS, max((fret for fret in use.frets if fret), default=1) - low + 1)
    return _Board(*corner, scale, low, rows, left_handed)


def chord_diagram_drawing(use: ShapeUse, width: float = 160.0, *, left_handed: bool = False) -> Drawing:
    """Return the diagram of a shape as a picture of its own, `width` units wide."""
    diagram = chord_diagram(use, 0.0, 0.0, width, left_handed=left_handed)
    return Drawing(width, ASPECT * width, (diagram,), PAPER, use.chord or "a shape", diagram.title)


def first_fret(use: ShapeUse) -> int:
    """Return the fret that is drawn uppermost: 1, or the lowest pressed one where the highest lies beyond four."""
    pressed = [fret for fret in use.frets if fret]
    return 1 if max(pressed, default=0) <= FEWEST_FRETS else min(pressed)


def spoken_shape(use: ShapeUse) -> str:
    """Return a shape in words, string by string: for those who don't see it."""
    return ", ".join([use.chord or "no chord", *(_spoken_string(use, string) for string in (4, 3, 2, 1))])


def _spoken_string(use: ShapeUse, string: int) -> str:
    fret = use.frets[4 - string]
    if fret is None:
        how = "not played"
    elif fret == 0:
        how = "open"
    else:
        how = f"fret {fret}" + (f" finger {use.fingers[4 - string]}" if use.fingers else "")
    return f"string {string} {how}" + (" (tune)" if string in use.tune_strings else "")


def _name(use: ShapeUse, board: _Board) -> Iterator[Shape]:
    if use.chord:
        x, y = board.at(LEFT_X + 1.5 * STRING_GAP, NAME_BASELINE)
        name = Text(x, y, use.chord, NAME_SIZE * board.scale, TEXT, "middle", "bold", "chord name")
        yield fitted(name, (UNITS - 4.0) * board.scale, SMALLEST_NAME * board.scale)


def _neck(board: _Board, size: float = POSITION_SIZE) -> Iterator[Shape]:
    """Yield strings, frets and nut, or the number of the uppermost fret."""
    left, right = board.string_x(4), board.string_x(1)
    for row in range(board.rows + 1):
        y = NUT_Y + row * (BOTTOM_Y - NUT_Y) / board.rows
        nut = row == 0 and board.low == 1
        ink = Ink(stroke=TEXT if nut else NECK, width=(4.0 if nut else 1.3) * board.scale)
        yield Path((board.at(left, y), board.at(right, y)), ink, name="nut" if nut else "fret line")
    for string in (4, 3, 2, 1):
        x = board.string_x(string)
        ink = Ink(stroke=NECK, width=1.3 * board.scale)
        yield Path((board.at(x, NUT_Y), board.at(x, BOTTOM_Y)), ink, name="string line")
    if board.low > 1:
        x, y = board.at(left - 8.5, board.finger_y(board.low) + 0.36 * size)
        label = Text(
            x, y, str(board.low), size * board.scale, TEXT_SOFT, "end", style="bold", name="position"
        )
        yield replace(label, anchor="start") if board.left_handed else label


def _above_nut(use: ShapeUse, board: _Board) -> Iterator[Shape]:
    """Yield a ring over each open string and a cross over each that isn't played."""
    for string, fret in zip((4, 3, 2, 1), use.frets, strict=True):
        x, y = board.at(board.string_x(string), SIGNS_Y)
        if fret == 0:
            tune = string in use.tune_strings
            radius = (OPEN_RADIUS + 0.9 * tune) * board.scale
            colour = LOOKS["melody"].colour if tune else HAND
            ink = Ink(stroke=colour, width=(2.6 if tune else 1.5) * board.scale)
            yield Disc(x, y, radius, ink, name=f"open {string}")
        elif fret is None:
            ink = Ink(stroke=TEXT_SOFT, width=1.6 * board.scale)
            yield from cross(x, y, OPEN_RADIUS * board.scale, ink, f"damped {string}")


def _fingers(use: ShapeUse, board: _Board) -> Iterator[Shape]:
    """Yield the barre, then a disc for each finger, with its number where it is known."""
    fingers = use.fingers or (0, 0, 0, 0)
    flat = [string for string, finger in zip((4, 3, 2, 1), fingers, strict=True) if finger == 1]
    if len(flat) > 1:
        y = board.finger_y(use.frets[4 - flat[0]] or board.low)
        ends = board.at(board.string_x(flat[0]), y), board.at(board.string_x(flat[-1]), y)
        ink = Ink(stroke=BARRE, width=1.5 * OTHER_RADIUS * board.scale)
        yield Path(ends, ink, name="barre")
    for string, fret, finger in zip((4, 3, 2, 1), use.frets, fingers, strict=True):
        if not fret:
            continue
        x, y = board.at(board.string_x(string), board.finger_y(fret))
        tune = string in use.tune_strings
        radius = (TUNE_RADIUS if tune else OTHER_RADIUS) * board.scale
        colour = LOOKS["melody"].colour if tune else HAND
        yield Disc(x, y, radius, Ink(fill=colour), name=f"finger {string}")
        if finger:
            size = FINGER_SIZE * board.scale
            yield Text(
                x, y + 0.36 * size, str(finger), size, PAPER, "middle", style="bold", name=f"number {string}"
            )
