"""A line of music as drawn, put in order: the strip under the tab, names of rows and sections, and its box."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from tercet.publish.letters import text_width_em
from tercet.publish.score.engraved import (
    Glyph,
    Group,
    Lettering,
    Outline,
    Part,
    System,
    letterings,
    parts_named,
)
from tercet.publish.score.engraver_svg import DrawnSystem
from tercet.publish.score.extents import box_of, boxes_of, lettering_box
from tercet.publish.score.score_parts import STRIP_ROWS, ScoreLook, ScoreText, TextKind

__all__ = ["finished"]

LABEL_SIZE = 290.0
SIZES: dict[TextKind, float] = {
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
        group.name.partition("s")[0]: part.x
        for group in parts_named(drawn.parts)
        if "c" in group.name and "s" in group.name
        for part in group.parts
        if isinstance(part, Lettering)
    }
    foot = _tab_foot(drawn.parts)
    parts = tuple(_in_order(drawn.parts, foot))
    if look.tune:
        parts = tuple(_strip_in_order(parts, columns, foot))
    parts = tuple(_named_above(parts, signs))
    parts += tuple(_labels(parts, texts))
    box = box_of(parts, signs)
    return System(parts, box.left, box.top, box.right - box.left, box.bottom - box.top, drawn.bars)


def _tab_foot(parts: tuple[Part, ...]) -> float:
    """Return where the lowest line of the tab lies."""
    lowest = 0.0
    for part in parts:
        if isinstance(part, Group):
            if "staff" in part.classes:
                lines = [_end_of(line) for line in part.parts if isinstance(line, Outline)]
                lowest = max([lowest, *(y for _, y in lines)])
            lowest = max(lowest, _tab_foot(part.parts))
    return lowest


def _end_of(line: Outline) -> tuple[float, float]:
    """Return the last point of a straight line."""
    x, y = line.path.replace("L", " ").replace("M", " ").split()[-2:]
    return float(x), float(y)


def _in_order(parts: tuple[Part, ...], foot: float, within: str = "") -> Iterator[Part]:
    """Yield shapes with bar lines that end at the tab, and texts in their sizes."""
    for part in parts:
        match part:
            case Group():
                kind = "barLine" if "barLine" in part.classes else "measure" if part.classes else within
                yield replace(part, parts=tuple(_in_order(part.parts, foot, kind)))
            case Outline() if within in ("", "barLine") and part.width:
                cut = _cut_off(part, foot)
                if cut is not None:
                    yield cut
            case Glyph() if within == "barLine" and part.y > foot:
                continue
            case Lettering() if part.kind in SIZES:
                yield replace(part, size=SIZES[part.kind])
            case _:
                yield part


def _strip_in_order(
    parts: tuple[Part, ...], columns: Mapping[str, float], foot: float, within: str = ""
) -> Iterator[Part]:
    """Yield shapes with the texts of the strip in rows under the tab, each under the middle of its column."""
    for part in parts:
        match part:
            case Group():
                inner = _strip_in_order(part.parts, columns, foot, part.name or within)
                yield replace(part, parts=tuple(inner))
            case Lettering() if part.kind == "bar-number":
                yield replace(part, y=foot + STRIP_TOP + STRIP_ROWS.index(part.kind) * STRIP_LINE)
            case Lettering() if part.kind in STRIP_ROWS:
                y = foot + STRIP_TOP + STRIP_ROWS.index(part.kind) * STRIP_LINE
                column = "c".join(within[:-1].rsplit("k", 1))
                yield replace(part, x=columns.get(column, part.x + COLUMN_MIDDLE), y=y, anchor=0.5)
            case _:
                yield part


def _named_above(parts: tuple[Part, ...], signs: Mapping[str, str]) -> Iterator[Part]:
    """Yield shapes with the name of a section raised above all that stands at the beginning of the line."""
    names = [part for part in letterings(parts) if part.kind == "section"]
    if not names:
        yield from parts
        return
    title = replace(names[0], x=0.0, size=SECTION_SIZE, anchor=0.0)
    right = lettering_box(title).right + SECTION_CLEAR
    others = [box for box in boxes_of(parts, signs, but=names[0]) if box.left < right]
    top = min((box.top for box in others), default=title.y)
    title = replace(title, y=top - SECTION_GAP)
    yield from _with(parts, names[0], title)


def _with(parts: tuple[Part, ...], old: Part, new: Part) -> Iterator[Part]:
    """Yield shapes with one of them exchanged."""
    for part in parts:
        if isinstance(part, Group):
            yield replace(part, parts=tuple(_with(part.parts, old, new)))
        else:
            yield new if part is old else part


def _cut_off(line: Outline, foot: float) -> Outline | None:
    """Return an upright line cut off at the foot of the tab, None when it lies below."""
    numbers = [float(number) for number in line.path.replace("L", " ").replace("M", " ").split()]
    if len(numbers) != 4 or numbers[0] != numbers[2]:
        return line
    x, top, _, bottom = numbers
    if top > foot + 1:
        return None
    return replace(line, path=f"M{x:g} {top:g} L{x:g} {min(bottom, foot):g}")


def _labels(parts: tuple[Part, ...], texts: Mapping[str, ScoreText]) -> Iterator[Part]:
    """Yield what names the rows of a line of music: verses by their passes, and the rows of the strip."""
    seen: set[float] = set()
    words: list[Lettering] = []
    for group in parts_named(parts):
        text = texts.get(group.name)
        if text is None or not text.label or text.kind not in (*STRIP_ROWS, "word"):
            continue
        for part in group.parts:
            if not isinstance(part, Lettering) or part.y in seen:
                continue
            seen.add(part.y)
            if text.kind == "word":
                words.append(
                    Lettering(part.x - LABEL_GAP, part.y, part.size, text.label, "label", "plain", 1.0)
                )
            else:
                yield Lettering(0.0, part.y, LABEL_SIZE, text.label, "label", "italic")
    widest_em = max((text_width_em(word.text) for word in words), default=0.0)
    for word in words:
        if widest_em * word.size <= WIDEST_LABEL:
            yield word
        else:
            size = min(word.size, (word.x - 2 * LABEL_GAP) / widest_em)
            yield replace(word, x=LABEL_GAP, size=size, anchor=0.0)
