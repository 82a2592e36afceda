"""Marks of the picture: a note's head and its line, and the line that ties the strings of one stroke."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from math import log10, sqrt
from statistics import median

from tercet.performing import Take, TakeNote
from tercet.publish.pictures.looks import LOOKS, PAPER, SHADOW, ink_of, radius_of, toned
from tercet.publish.shapes import Disc, Group, Ink, Path, Point, Shape, Text, cross
from tercet.song import LAYERS, Layer

__all__ = ["Frame", "gestures_of", "level_of", "middle_levels_db", "note_mark", "note_marks"]

DIGIT_RADIUS = 7.0
"""A head of at least this radius has room for the number of its string."""

SQUARE_ROOT_2 = sqrt(2.0)
"""A square is a diamond turned: as large, and standing on a side."""

HALO = 1.4
"""Width of the rim of paper round a mark: what is near stands clear of what is behind it."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where times and pitches fall in the drawing.

    `x_of` takes seconds of the take, `y_of` a MIDI key number; lines end at `end_x` at the latest.
    """

    x_of: Callable[[float], float]
    y_of: Callable[[float], float]
    end_x: float


def gestures_of(notes: Iterable[TakeNote]) -> list[tuple[TakeNote, ...]]:
    """Return notes stroke by stroke, each in order of onset."""
    ordered = sorted(notes, key=lambda note: (note.gesture, note.onset_s, -note.string))
    return [tuple(stroke) for _, stroke in groupby(ordered, key=lambda note: note.gesture)]


def level_of(stroke: Iterable[TakeNote]) -> float:
    """Return the level of a whole stroke relative to mf, in dB: the powers of its strings added."""
    return 10.0 * log10(sum(10.0 ** (note.level_db / 10.0) for note in stroke))


def middle_levels_db(take: Take) -> dict[Layer, float]:
    """Return the level of the median stroke of each layer that plays."""
    levels: dict[Layer, list[float]] = {}
    for stroke in gestures_of(take.notes):
        levels.setdefault(stroke[0].layer, []).append(level_of(stroke))
    return {layer: median(levels[layer]) for layer in LAYERS if layer in levels}


def note_marks(notes: Iterable[TakeNote], frame: Frame) -> tuple[Shape, ...]:
    """Return the marks of notes, the softest at the back, the loudest in front."""
    placed: list[tuple[float, int, Shape]] = []
    for stroke in gestures_of(notes):
        if len(stroke) > 1:
            placed.append((min(note.level_db for note in stroke), 0, _stroke_line(stroke, frame)))
        placed += [(note.level_db, 1, note_mark(note, frame)) for note in stroke]
    return tuple(shape for *_, shape in sorted(placed, key=lambda item: item[:2]))


def _stroke_line(stroke: tuple[TakeNote, ...], frame: Frame) -> Path:
    """Return the line through the strings of a roll or a strum, in the order struck."""
    layer = stroke[0].layer
    points = tuple((frame.x_of(note.onset_s), frame.y_of(note.midi)) for note in stroke)
    level_db = level_of(stroke)
    return Path(points, _line_ink(layer, level_db, 0.18 * radius_of(level_db)), name=f"stroke {layer}")


def _line_ink(layer: Layer, level_db: float, width: float) -> Ink:
    look = LOOKS[layer]
    width = max(width, 0.9)
    dash = tuple(width * part for part in look.dash)
    return Ink(stroke=toned(look.colour, ink_of(level_db)), width=width, dash=dash)


def note_mark(note: TakeNote, frame: Frame) -> Group:
    """Return the mark of one note: its line as long as it rings, its head, and its string where there is room."""
    x, y = frame.x_of(note.onset_s), frame.y_of(note.midi)
    end = min(max(frame.x_of(note.onset_s + note.length_s), x), frame.end_x)
    radius = radius_of(note.level_db)
    shapes: list[Shape] = []
    if note.action != "chop":
        shapes.append(_tail(note, (x, y), end, radius))
    if radius >= DIGIT_RADIUS and note.action != "chop":
        shapes.append(Disc(x + 0.3 * radius, y + 0.3 * radius, radius, Ink(fill=SHADOW), name="shadow"))
    shapes += _head(note, (x, y), radius)
    if note.layer != "strums" and radius >= DIGIT_RADIUS:
        size = min(1.3 * radius, 18.0)
        shapes.append(
            Text(x, y + 0.36 * size, str(note.string), size, PAPER, "middle", style="bold", name="string")
        )
    fret = "open" if note.fret == 0 else f"fret {note.fret}" if note.fret else "on no string"
    title = f"{note.layer}, {note.action}: string {note.string}, {fret}, {note.level_db:+.1f} dB"
    return Group(tuple(shapes), f"note {note.layer}", title)


def _tail(note: TakeNote, start: Point, end: float, radius: float) -> Path:
    """Return the line of a ringing note. The melody's thins out as a plucked string dies away."""
    x, y = start
    if note.layer == "melody":
        half = 0.62 * radius
        tone = toned(LOOKS["melody"].colour, 0.45 * ink_of(note.level_db))
        return Path(((x, y - half), (end, y), (x, y + half)), Ink(fill=tone), closed=True, name="tail")
    return Path(((x, y), (max(end, x), y)), _line_ink(note.layer, note.level_db, 0.26 * radius), name="tail")


def _head(note: TakeNote, centre: Point, radius: float) -> Iterator[Shape]:
    x, y = centre
    look = LOOKS[note.layer]
    tone = toned(look.colour, ink_of(note.level_db))
    if note.action == "chop":
        ink = Ink(stroke=tone, width=max(0.45 * radius, 0.9))
        yield from cross(x, y, radius, ink, "head")
    elif look.head == "disc":
        yield Disc(x, y, radius, Ink(fill=tone, stroke=PAPER, width=HALO), name="head")
    elif look.head in ("square", "diamond"):
        reach = 1.25 * radius
        half = reach / SQUARE_ROOT_2
        points = (
            ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))
            if look.head == "square"
            else ((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y))
        )
        yield Path(points, Ink(fill=tone, stroke=PAPER, width=HALO), closed=True, name="head")
    else:
        yield Disc(x, y, radius, Ink(fill=PAPER, stroke=tone, width=max(0.4 * radius, 0.9)), name="head")
