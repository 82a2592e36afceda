"""A line of music as drawn, put in order: the strip under the tab, names of rows and sections, and its box."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, radians, sin

from fontTools.pens.boundsPen import ControlBoundsPen
from fontTools.svgLib.path import parse_path

from tercet.publish.score.elements import STRIP_ROWS, ScoreLook, ScoreText, score_text
from tercet.publish.score.engraver_svg import DrawnSystem
from tercet.publish.shapes import ANCHOR_PART, Group, Outline, Shape, Sign, Text, groups_in, texts_in
from tercet.publish.typefaces import text_width_em

__all__ = ["Box", "System", "box_of", "finished"]


@dataclass(frozen=True, slots=True)
class System:
    """One line of music, in the engraver's fine units: a space between staff lines is 180 of them.

    Parameters
    ----------
    shapes
        What is drawn, in the coordinates of the page on which the engraver drew it.
    left, top, width, height
        The box that holds it.
    bars
        Names of its printed bars, in order.
    """

    shapes: tuple[Shape, ...]
    left: float
    top: float
    width: float
    height: float
    bars: tuple[str, ...]


LABEL_SIZE = 290.0
SIZES: dict[str, float] = {
    "chord": 450.0, "remark": 405.0, "then": 405.0, "ending": 405.0,
    "strum": 370.0, "count": 370.0, "finger": 330.0, "bar-number": 300.0,
}  # fmt: skip
"""Of texts, in fine units; words have the engraver's size."""

COLUMN_MIDDLE = 203.0
"""From where a text under a note begins to the middle of the note's column, where it has no digit."""

LABEL_GAP, WIDEST_LABEL = 90.0, 420.0
"""Between the number of a verse and its words; wider ones would reach a repeat sign, so they stand at the far left."""

SECTION_SIZE, SECTION_GAP, SECTION_CLEAR = 470.0, 110.0, 350.0
"""Of the name of a section, which stands where its first line begins, above everything there."""

STRIP_TOP, STRIP_LINE = 480.0, 370.0
"""Of the strip: from the lowest line of the tab to the first row's baseline, and from row to row, in fine units."""


def finished(
    drawn: DrawnSystem, texts: Mapping[str, ScoreText], signs: Mapping[str, str], look: ScoreLook
) -> System:
    """Return a line of music with its strip in order, its rows named, and the box that holds it."""
    columns = {
        group.id.partition("s")[0]: shape.x
        for group in groups_in(drawn.shapes)
        if "c" in group.id and "s" in group.id
        for shape in group.shapes
        if isinstance(shape, Text)
    }
    foot = _tab_foot(drawn.shapes)
    shapes = tuple(_in_order(drawn.shapes, foot, columns if look.tune else None))
    shapes = tuple(_named_above(shapes, signs))
    shapes += tuple(_labels(shapes, texts))
    box = box_of(shapes, signs)
    return System(shapes, box.left, box.top, box.right - box.left, box.bottom - box.top, drawn.bars)


def _tab_foot(shapes: tuple[Shape, ...]) -> float:
    """Return where the lowest line of the tab lies."""
    lowest = 0.0
    for shape in shapes:
        if isinstance(shape, Group):
            if "staff" in shape.names:
                lines = [_end_of(line) for line in shape.shapes if isinstance(line, Outline)]
                lowest = max([lowest, *(y for _, y in lines)])
            lowest = max(lowest, _tab_foot(shape.shapes))
    return lowest


def _end_of(line: Outline) -> tuple[float, float]:
    """Return the last point of a straight line."""
    x, y = line.path.replace("L", " ").replace("M", " ").split()[-2:]
    return float(x), float(y)


def _in_order(
    shapes: tuple[Shape, ...],
    foot: float,
    columns: Mapping[str, float] | None,
    kind: str = "",
    within: str = "",
) -> Iterator[Shape]:
    """Yield shapes with bar lines that end at the tab, and texts in their sizes and, given columns, in their rows."""
    for shape in shapes:
        match shape:
            case Group():
                inner_kind = "barLine" if "barLine" in shape.names else "measure" if shape.names else kind
                inner = _in_order(shape.shapes, foot, columns, inner_kind, shape.id or within)
                yield replace(shape, shapes=tuple(inner))
            case Outline() if kind in ("", "barLine") and shape.width:
                cut = _cut_off(shape, foot)
                if cut is not None:
                    yield cut
            case Sign() if kind == "barLine" and shape.y > foot:
                continue
            case Text():
                yield _in_row(replace(shape, size=SIZES.get(shape.name, shape.size)), foot, columns, within)
            case _:
                yield shape


def _in_row(text: Text, foot: float, columns: Mapping[str, float] | None, anchor: str) -> Text:
    """Return a text of the strip in its row under the tab, under the middle of its column; any other as it is."""
    if columns is None or text.name not in STRIP_ROWS:
        return text
    text = replace(text, y=foot + STRIP_TOP + STRIP_ROWS.index(text.name) * STRIP_LINE)
    if text.name == "bar-number":
        return text
    column = "c".join(anchor[:-1].rsplit("k", 1))
    return replace(text, x=columns.get(column, text.x + COLUMN_MIDDLE), anchor="middle")


def _named_above(shapes: tuple[Shape, ...], signs: Mapping[str, str]) -> Iterator[Shape]:
    """Yield shapes with the name of a section raised above all that stands at the beginning of the line."""
    names = [shape for shape in texts_in(shapes) if shape.name == "section"]
    if not names:
        yield from shapes
        return
    title = replace(names[0], x=0.0, size=SECTION_SIZE, anchor="start")
    right = _text_box(title).right + SECTION_CLEAR
    others = [box for box in _boxes_of(shapes, signs, but=names[0]) if box.left < right]
    top = min((box.top for box in others), default=title.y)
    title = replace(title, y=top - SECTION_GAP)
    yield from _with(shapes, names[0], title)


def _with(shapes: tuple[Shape, ...], old: Shape, new: Shape) -> Iterator[Shape]:
    """Yield shapes with one of them exchanged."""
    for shape in shapes:
        if isinstance(shape, Group):
            yield replace(shape, shapes=tuple(_with(shape.shapes, old, new)))
        else:
            yield new if shape is old else shape


def _cut_off(line: Outline, foot: float) -> Outline | None:
    """Return an upright line cut off at the foot of the tab, None when it lies below."""
    numbers = [float(number) for number in line.path.replace("L", " ").replace("M", " ").split()]
    if len(numbers) != 4 or numbers[0] != numbers[2]:
        return line
    x, top, _, bottom = numbers
    if top > foot + 1:
        return None
    return replace(line, path=f"M{x:g} {top:g} L{x:g} {min(bottom, foot):g}")


def _labels(shapes: tuple[Shape, ...], texts: Mapping[str, ScoreText]) -> Iterator[Shape]:
    """Yield what names the rows of a line of music: verses by their passes, and the rows of the strip."""
    seen: set[float] = set()
    words: list[Text] = []
    for group in groups_in(shapes):
        text = texts.get(group.id)
        if text is None or not text.label or text.kind not in (*STRIP_ROWS, "word"):
            continue
        for shape in group.shapes:
            if not isinstance(shape, Text) or shape.y in seen:
                continue
            seen.add(shape.y)
            if text.kind == "word":
                label = score_text(
                    "label", shape.x - LABEL_GAP, shape.y, shape.size, text.label, anchor="end"
                )
                words.append(label)
            else:
                yield score_text("label", 0.0, shape.y, LABEL_SIZE, text.label, "italic")
    widest_em = max((text_width_em(word.text) for word in words), default=0.0)
    for word in words:
        if widest_em * word.size <= WIDEST_LABEL:
            yield word
        else:
            size = min(word.size, (word.x - 2 * LABEL_GAP) / widest_em)
            yield replace(word, x=LABEL_GAP, size=size, anchor="start")


# ---- how much room shapes take

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


def box_of(shapes: tuple[Shape, ...], signs: Mapping[str, str]) -> Box:
    """Return the box around shapes; an empty one at the origin when there are none."""
    found: Box | None = None
    for box in _boxes_of(shapes, signs):
        found = box if found is None else found.joined(box)
    return found or Box(0.0, 0.0, 0.0, 0.0)


def _text_box(shape: Text) -> Box:
    """Return the box around a text."""
    width = text_width_em(shape.text, shape.style) * shape.size
    left = shape.x - ANCHOR_PART[shape.anchor] * width
    return Box(left, shape.y - ASCENT_EM * shape.size, left + width, shape.y + DESCENT_EM * shape.size)


def _boxes_of(shapes: tuple[Shape, ...], signs: Mapping[str, str], but: Shape | None = None) -> Iterator[Box]:
    """Yield the box of every sign, line and text, without one of them if that is asked for."""
    for shape in shapes:
        if shape is but:
            continue
        match shape:
            case Group():
                for box in _boxes_of(shape.shapes, signs, but):
                    yield _turned(box, shape.turned) if shape.turned else box
            case Sign():
                left, low, right, high = _path_bounds(signs.get(shape.sign, ""))
                scale = shape.scale
                yield Box(
                    shape.x + left * scale,
                    shape.y - high * scale,
                    shape.x + right * scale,
                    shape.y - low * scale,
                )
            case Outline():
                left, top, right, bottom = _path_bounds(shape.path)
                half = shape.width / 2
                yield Box(left - half, top - half, right + half, bottom + half)
            case Text():
                yield _text_box(shape)


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
    if not path:
        return 0.0, 0.0, 0.0, 0.0
    pen = ControlBoundsPen(None)
    parse_path(path, pen)
    left, low, right, high = pen.bounds or (0, 0, 0, 0)
    return float(left), float(low), float(right), float(high)
