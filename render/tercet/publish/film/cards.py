"""The still parts of a film as drawings: the title, the head with what is counted and whose turn it is, the shapes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tercet.publish.film.layout import Layout
from tercet.publish.paragraphs import fitted, wrapped
from tercet.publish.pictures.chord_diagram import ASPECT, chord_diagram
from tercet.publish.pictures.looks import FAINT, LOOKS, PAPER, TEXT, TEXT_SOFT, toned
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.shapes import Disc, Drawing, Group, Ink, Path, Shape, Text
from tercet.publish.typefaces import text_width_em
from tercet.song import Layer

__all__ = ["Foot", "Head", "LegendRow", "TitleCard", "foot_drawing", "head_drawing", "title_drawing"]

TURN_WORDS = {"listen": "Listen", "yours": "Your turn", "together": "Together", "count-in": "Counting in"}
"""What each turn is called."""


@dataclass(frozen=True, slots=True)
class TitleCard:
    """What the title says: the song's name, under it lines, and at the foot the licence; each may be empty."""

    title: str
    lines: tuple[str, ...] = ()
    licence: str = ""


def title_drawing(card: TitleCard, layout: Layout) -> Drawing:
    """Return what is read before the track begins."""
    width, height, unit = layout.size.width, layout.size.height, layout.size.unit
    room = width - 4 * layout.margin
    sizes = [100.0 * unit] * 2 + [80.0 * unit]
    lines: tuple[str, ...] = ()
    size = sizes[-1]
    for count, tried in zip((1, 2, 3), sizes, strict=True):
        size = tried
        lines = wrapped(card.title, tried, room, count, "bold")
        if not lines or not lines[-1].endswith("…"):
            break
    step = 1.2 * size
    y = height * 0.40 - step * (len(lines) - 1) / 2
    shapes: list[Shape] = []
    for line in lines:
        shapes.append(Text(width / 2, y, line, size, TEXT, "middle", "bold", "title"))
        y += step
    y += 8 * unit
    for line in card.lines:
        text = Text(width / 2, y, line, 42.0 * unit, TEXT_SOFT, "middle", name="line")
        shapes.append(fitted(text, room, 20.0 * unit))
        y += 60.0 * unit
    if card.licence:
        foot = Text(width / 2, height - 1.8 * layout.margin, card.licence, 34.0 * unit, TEXT_SOFT, "middle")
        shapes.append(fitted(foot, room, 16.0 * unit))
    return Drawing(width, height, tuple(shapes), PAPER, card.title)


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above the music.

    Parameters
    ----------
    title, place
        The song, and where in it the sound is.
    track
        What the track is, in a few words.
    turn
        Whose turn it is, a word of `TURN_WORDS`; empty where all the track is of one kind.
    step
        What sets this turn apart: ``80%``.
    counted, of
        What is counted now, and up to which number; 0 where nothing is counted.
    """

    title: str
    place: str
    track: str
    turn: str = ""
    step: str = ""
    counted: int = 0
    of: int = 0


def head_drawing(head: Head, layout: Layout) -> Drawing:
    """Return the head."""
    width, unit, margin = layout.size.width, layout.size.unit, layout.margin
    half = width / 2 - margin
    title = Text(margin, 42.0 * unit, head.title, 40.0 * unit, TEXT, style="bold", name="title")
    place = Text(width - margin, 42.0 * unit, head.place, 34.0 * unit, TEXT_SOFT, "end", name="place")
    track = Text(width - margin, 98.0 * unit, head.track, 30.0 * unit, TEXT_SOFT, "end", name="track")
    shapes: list[Shape] = [
        fitted(title, half * 1.1, 22.0 * unit),
        fitted(place, half * 0.85, 18.0 * unit),
        fitted(track, half * 0.95, 18.0 * unit),
    ]
    shapes += _counted(head, layout) if head.of else _turn(head, layout)
    return Drawing(width, layout.head_height, tuple(shapes), PAPER, head.title)


def _counted(head: Head, layout: Layout) -> Iterator[Shape]:
    """Yield the numbers of a bar: what is counted now is near, the others far."""
    unit = layout.size.unit
    x, y = float(layout.margin), 108.0 * unit
    for number in range(1, head.of + 1):
        now = number == head.counted
        size = (60.0 if now else 38.0) * unit
        colour = TEXT if now else toned(TEXT, 0.4)
        yield Text(x + 24.0 * unit, y, str(number), size, colour, "middle", "bold", "count")
        x += 66.0 * unit


def _turn(head: Head, layout: Layout) -> Iterator[Shape]:
    """Yield whose turn it is: a student's on a dark ground, the recording's within a line."""
    if not head.turn:
        return
    unit = layout.size.unit
    words = TURN_WORDS[head.turn] + (f" · {head.step}" if head.step else "")
    size = 40.0 * unit
    width = text_width_em(words, "bold") * size + 48.0 * unit
    x, top, foot = float(layout.margin), 60.0 * unit, 114.0 * unit
    yours = head.turn in ("yours", "together")
    ink = Ink(fill=TEXT if yours else "", stroke=TEXT, width=3.0 * unit)
    yield Path(((x, top), (x + width, top), (x + width, foot), (x, foot)), ink, closed=True, name="turn")
    colour = PAPER if yours else TEXT
    yield Text(x + width / 2, 101.0 * unit, words, size, colour, "middle", "bold", "turn")


@dataclass(frozen=True, slots=True)
class LegendRow:
    """A layer, and how it comes in this track: heard, or for the student to play."""

    layer: Layer
    heard: bool


FOOT_SIZES = (1.0, 0.76, 0.6)
"""How large the shapes are, now, next and then."""

FOOT_NAMES = {True: ("now", "next", "then"), False: ("first", "next", "then")}
"""What they are called, by whether the first of them is held already."""


@dataclass(frozen=True, slots=True)
class Foot:
    """What stands under the music: shapes, the first of which is held now, or will be."""

    uses: tuple[ShapeUse, ...]
    held: bool


def foot_drawing(foot: Foot, legend: Sequence[LegendRow], layout: Layout, *, left_handed: bool) -> Drawing:
    """Return the foot: the shape that is held now, those that come after, farther and farther away; the layers."""
    width, height, unit, margin = layout.size.width, layout.foot_height, layout.size.unit, layout.margin
    shapes: list[Shape] = [Path(((margin, 2.0), (width - margin, 2.0)), Ink(stroke=FAINT, width=2.0 * unit))]
    x, base = float(margin), height - 10.0 * unit
    for use, part, name in zip(foot.uses, FOOT_SIZES, FOOT_NAMES[foot.held], strict=False):
        high = part * (height - 26.0 * unit)
        across = high / ASPECT
        shapes.append(Text(x, base - high + 22.0 * unit, name, 24.0 * unit, TEXT_SOFT, name=name))
        x += 64.0 * unit
        shapes.append(chord_diagram(use, x, base - high, across, left_handed=left_handed))
        x += across + 34.0 * unit
    shapes += _legend(legend, layout)
    return Drawing(width, height, tuple(shapes), PAPER, "shapes")


def _legend(rows: Sequence[LegendRow], layout: Layout) -> Iterator[Shape]:
    """Yield what marks mean: each layer's, filled where it is heard, hollow where a student plays it."""
    unit = layout.size.unit
    x = layout.size.width - layout.margin - 250.0 * unit
    step = 42.0 * unit
    y = layout.foot_height / 2 - step * (len(rows) - 1) / 2
    for row in rows:
        colour = LOOKS[row.layer].colour
        yield _legend_head(row, (x, y), 13.0 * unit, colour)
        words = row.layer if row.heard else f"{row.layer}: yours"
        yield fitted(
            Text(x + 30.0 * unit, y + 10.0 * unit, words, 28.0 * unit, TEXT), 215.0 * unit, 14.0 * unit
        )
        y += step


def _legend_head(row: LegendRow, at: tuple[float, float], radius: float, colour: str) -> Shape:
    x, y = at
    look = LOOKS[row.layer]
    rim = 0.3 * radius
    if not row.heard:
        ink = Ink(fill=PAPER, stroke=colour, width=rim, dash=(1.6 * rim, 1.6 * rim))
    elif look.head == "ring":
        ink = Ink(fill=PAPER, stroke=colour, width=rim)
    else:
        ink = Ink(fill=colour)
    if look.head == "diamond":
        reach = 1.25 * radius
        return Path(((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y)), ink, closed=True)
    if look.head == "square":
        half = 0.88 * radius
        corners = ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))
        return Path(corners, ink, closed=True)
    return Group((Disc(x, y, radius, ink),), "legend")
