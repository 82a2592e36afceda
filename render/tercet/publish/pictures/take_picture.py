"""The picture of a take: time across, pitch up, what is loud near, large and heavy, what is soft far, small and light.

Each line of music is a row. Its field shows every string that sounds; the words stand under it, and a panel at its
foot draws how loud each layer is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import median

from tercet.arranging import Arrangement
from tercet.performing import Take, TakeNote
from tercet.publish.paragraphs import fitted
from tercet.publish.pictures.looks import (
    FAINT,
    LOOKS,
    PAPER,
    TEXT,
    TEXT_SOFT,
    ink_of,
    places,
    radius_of,
    toned,
)
from tercet.publish.pictures.note_marks import (
    Frame,
    gestures_of,
    level_of,
    middle_levels_db,
    note_mark,
    note_marks,
)
from tercet.publish.pictures.take_rows import PictureRow, picture_rows
from tercet.publish.shapes import Disc, Drawing, Group, Ink, Path, Point, Shape, Text
from tercet.publish.typefaces import text_width_em
from tercet.song import LAYERS, Layer
from tercet.theory import MARK_LEVEL_DB
from tercet.wording import counted

__all__ = ["RowPlace", "row_places", "take_picture"]

WIDTH = 1200.0
LEFT, RIGHT = 84.0, 36.0
"""Margins of the rows, in drawing units: names of strings and marks stand in the left one."""

SEMITONE = 9.0
HEADING, CHORDS, WORDS, PANEL, GAP = 34.0, 20.0, 26.0, 88.0, 30.0
"""Heights of a row's parts: the section's name, bar numbers and chords, the words, the levels, the space below."""

HEAD_ROOM = 6.0
"""Space between the highest note's mark and the chords, and between the lowest and the words."""

WORD_SIZE, CHORD_SIZE = 14.5, 13.5

NO_CHORD = "N.C."

WIDEST_SCALE = 1.25
"""A row fills the width, as lines of music do on paper, unless it is shorter than others: then time runs at most this
much wider than in the middle one of them."""

SENTENCE = (
    "Loud is near: large and dark. Soft is far: small and pale. A number is the string that plays the note."
)

LEGEND_TOP = 104.0
LEGEND_LINE = 30.0
"""Height of a line, in drawing units."""

SAMPLE = 96.0
"""Length of the line that shows how a layer is drawn."""

LEGEND_NAME, LEGEND_PLACE = 92.0, 200.0
"""Widths of the columns that name a layer and its place."""

PANEL_MARGIN_DB = 1.5
USUAL_DB = (-8.0, 4.0)
"""p to f are always in the panel."""

MARK_SIZE = 9.5

LIGHTEST_LINE, HEAVIEST_LINE = 1.1, 4.0


@dataclass(frozen=True, slots=True)
class _Scale:
    """What all rows share.

    At most `unit_per_s` drawing units show a second; pitches lie from `low_midi` to `high_midi`, with `room` above and
    below; levels from `low_db` to `high_db`.
    """

    unit_per_s: float
    low_midi: int
    high_midi: int
    room: float
    low_db: float
    high_db: float

    @property
    def field_height(self) -> float:
        """Height of a row's field, in drawing units."""
        return SEMITONE * (self.high_midi - self.low_midi) + 2.0 * self.room


def take_picture(take: Take, arrangement: Arrangement) -> Drawing:
    """Return the picture of a take of an arrangement, 1200 units wide and as tall as its rows need."""
    rows = picture_rows(take, arrangement)
    scale = _scale(take, arrangement, rows)
    title = arrangement.song.title
    shapes: list[Shape] = [*_title(arrangement)]
    shapes += _legend(take, arrangement.song.layers, LEFT, LEGEND_TOP)
    layers = arrangement.song.layers
    bottom = _legend_bottom(layers)
    for row, place in zip(rows, _places(rows, scale, layers), strict=True):
        if row.heading:
            heading = Text(LEFT, place.y - 10.0, row.heading, 17.0, TEXT, style="bold", name="section")
            shapes.append(fitted(heading, WIDTH - LEFT - RIGHT, 10.0))
        shapes += _row(row, arrangement, scale, place)
        bottom = place.y + place.height + GAP
    description = (
        f"A take of {counted(len(take.notes), 'note')}. Time runs across, pitch up. "
        "The louder a note, the larger and darker its mark."
    )
    return Drawing(WIDTH, bottom, tuple(shapes), PAPER, title, description)


@dataclass(frozen=True, slots=True)
class RowPlace:
    """Where a row lies in the picture, in drawing units, and the time its width stands for, in seconds of the take."""

    x: float
    y: float
    width: float
    height: float
    start_s: float
    end_s: float


def row_places(take: Take, arrangement: Arrangement) -> tuple[RowPlace, ...]:
    """Return where the rows of `take_picture` lie: time runs evenly across each from its left edge to its right one."""
    rows = picture_rows(take, arrangement)
    return tuple(_places(rows, _scale(take, arrangement, rows), arrangement.song.layers))


def _legend_bottom(layers: Sequence[Layer]) -> float:
    return LEGEND_TOP + LEGEND_LINE * len(layers) + 16.0


def _places(rows: tuple[PictureRow, ...], scale: _Scale, layers: Sequence[Layer]) -> Iterator[RowPlace]:
    """Yield the places of the rows, from the top: what of each lies between its heading and the gap below."""
    y = _legend_bottom(layers)
    for row in rows:
        y += HEADING * bool(row.heading)
        length_s = row.end_s - row.start_s
        width = min(scale.unit_per_s * length_s, WIDTH - LEFT - RIGHT)
        height = CHORDS + scale.field_height + WORDS * bool(row.syllables) + PANEL
        yield RowPlace(LEFT, y, width, height, row.start_s, row.end_s)
        y += height + GAP


def _scale(take: Take, arrangement: Arrangement, rows: tuple[PictureRow, ...]) -> _Scale:
    keys = [note.midi for note in take.notes] + [pitch.midi for pitch in arrangement.tuning.open_pitches]
    low_db, high_db = _panel_range_db(take.notes)
    loudest_db = max((note.level_db for note in take.notes), default=0.0)
    return _Scale(
        WIDEST_SCALE * (WIDTH - LEFT - RIGHT) / median(row.end_s - row.start_s for row in rows),
        min(keys),
        max(keys),
        radius_of(loudest_db) + HEAD_ROOM,
        low_db,
        high_db,
    )


def _title(arrangement: Arrangement) -> Iterator[Shape]:
    song = arrangement.song
    title = Text(LEFT, 44.0, song.title, 30.0, TEXT, style="bold", name="title")
    yield fitted(title, WIDTH - LEFT - RIGHT, 14.0)
    facts = [song.composer, str(song.key), str(song.meter), arrangement.tuning.name]
    line = " · ".join(fact for fact in facts if fact)
    yield fitted(Text(LEFT, 66.0, line, 14.0, TEXT_SOFT, name="facts"), WIDTH - LEFT - RIGHT, 9.0)
    yield Text(LEFT, 94.0, SENTENCE, 15.0, TEXT)


def _row(row: PictureRow, arrangement: Arrangement, scale: _Scale, place: RowPlace) -> Iterator[Shape]:
    """Yield all of one row, from the back to the front."""
    field_top = place.y + CHORDS
    field_bottom = field_top + scale.field_height
    panel_top = field_bottom + WORDS * bool(row.syllables)
    unit_per_s = place.width / (row.end_s - row.start_s)
    right = place.x + place.width

    def x_of(onset_s: float) -> float:
        return place.x + (onset_s - row.start_s) * unit_per_s

    def y_of(midi: float) -> float:
        return field_bottom - scale.room - SEMITONE * (midi - scale.low_midi)

    yield from _strings(arrangement, y_of, right)
    yield from _bar_lines(row, x_of, field_top, field_bottom)
    yield from _chords(row, x_of, place.y + 12.0)
    yield from _level_panel(row, x_of, panel_top + 8.0, right, scale)
    yield from note_marks(row.notes, Frame(x_of, y_of, right))
    yield from _words(row, x_of, field_bottom + 15.0)


def _strings(arrangement: Arrangement, y_of: Callable[[float], float], right: float) -> Iterator[Shape]:
    """Yield a line at the pitch of each open string, with the string's number and note."""
    for number, pitch in zip((4, 3, 2, 1), arrangement.tuning.open_pitches, strict=True):
        y = y_of(pitch.midi)
        yield Path(((LEFT, y), (right, y)), Ink(stroke=FAINT, width=1.0), name="open string")
        name = str(pitch).rstrip("0123456789-")
        yield Text(LEFT - 30.0, y + 4.0, f"{number}  {name}", 11.0, TEXT_SOFT, "end")


def _bar_lines(row: PictureRow, x_of: Callable[[float], float], top: float, bottom: float) -> Iterator[Shape]:
    for place_s in (*(bar.start_s for bar in row.played), row.end_s):
        x = x_of(place_s)
        yield Path(((x, top), (x, bottom)), Ink(stroke=FAINT, width=1.4), name="bar line")


def _chords(row: PictureRow, x_of: Callable[[float], float], baseline: float) -> Iterator[Shape]:
    """Yield the number of each bar, and its chords where they change."""
    shown = NO_CHORD
    for played, bar in zip(row.played, row.bars, strict=True):
        number = Text(x_of(played.start_s), baseline, str(played.number), 11.0, TEXT_SOFT, name="bar number")
        yield number
        least = number.x + text_width_em(number.text) * number.size + 5.0
        unit_per_beat = (x_of(played.end_s) - x_of(played.start_s)) / float(bar.length_beat)
        for span in bar.chords:
            name = str(span.chord) if span.chord else NO_CHORD
            if name == shown:
                continue
            x = max(x_of(played.start_s) + float(span.start_beat) * unit_per_beat, least)
            yield Text(x, baseline, name, CHORD_SIZE, TEXT, name="chord")
            least = x + text_width_em(name) * CHORD_SIZE + 4.0
            shown = name


def _words(row: PictureRow, x_of: Callable[[float], float], baseline: float) -> Iterator[Shape]:
    """Yield the words, each under its note or as close after it as the words before leave room."""
    least = 0.0
    for syllable in row.syllables:
        width = text_width_em(syllable.text) * WORD_SIZE
        x = max(x_of(syllable.onset_s) - 0.5 * width, least)
        yield Text(x, baseline, syllable.text, WORD_SIZE, TEXT, name="word")
        least = x + width + 0.3 * WORD_SIZE


# ---- the legend: a line for each layer, the nearest first, as large and as dark as the layer is on the whole


def _legend(take: Take, layers: Sequence[Layer], left: float, top: float) -> Iterator[Shape]:
    """Yield a line for each layer: a note of its median level, its name, its place, and what it is."""
    levels_db = middle_levels_db(take)
    notes = {note.layer: note for note in take.notes}
    for index, (layer, place) in enumerate(places(levels_db, layers).items()):
        middle = top + LEGEND_LINE * (index + 0.5)
        shapes: list[Shape] = []
        where = place
        if layer in levels_db:
            shapes.append(_sample(notes[layer], levels_db[layer], left, middle))
            where = f"{place}, about {_nearest_mark(levels_db[layer])}"
        x, baseline = left + SAMPLE + 22.0, middle + 5.0
        shapes.append(Text(x, baseline, layer, 16.0, TEXT, style="bold"))
        shapes.append(Text(x + LEGEND_NAME, baseline, where, 15.0, TEXT))
        shapes.append(Text(x + LEGEND_NAME + LEGEND_PLACE, baseline, LOOKS[layer].means, 15.0, TEXT_SOFT))
        yield Group(tuple(shapes), "legend")


def _sample(note: TakeNote, level_db: float, left: float, y: float) -> Group:
    """Return a note of a layer as a single note at a level, as long as `SAMPLE`."""
    single = replace(note, onset_s=0.0, length_s=1.0, level_db=level_db, string=1, action="single")
    start = left + radius_of(level_db)
    frame = Frame(lambda onset_s: start + SAMPLE * onset_s, lambda _midi: y, left + SAMPLE)
    return Group(note_mark(single, frame).shapes, f"sample {note.layer}")


def _nearest_mark(level_db: float) -> str:
    """Return the dynamic mark nearest to a level."""
    return min(MARK_LEVEL_DB, key=lambda mark: abs(MARK_LEVEL_DB[mark] - level_db))


# ---- the panel under a row: how loud each layer is, stroke by stroke, in dB around mf


def _panel_range_db(notes: tuple[TakeNote, ...]) -> tuple[float, float]:
    """Return the lowest and the highest level of panels that hold every stroke, in dB relative to mf."""
    levels = [*USUAL_DB, *(level_of(stroke) for stroke in gestures_of(notes))]
    return min(levels) - PANEL_MARGIN_DB, max(levels) + PANEL_MARGIN_DB


def _level_panel(
    row: PictureRow, x_of: Callable[[float], float], top: float, right: float, scale: _Scale
) -> Iterator[Shape]:
    """Yield a faint line for each dynamic mark, and each layer's curve in its own line, the softest first."""

    def y_of(level_db: float) -> float:
        return top + (PANEL - 8.0) * (scale.high_db - level_db) / (scale.high_db - scale.low_db)

    for mark, level_db in MARK_LEVEL_DB.items():
        if scale.low_db <= level_db <= scale.high_db:
            y = y_of(level_db)
            yield Path(((LEFT, y), (right, y)), Ink(stroke=FAINT, width=0.7), name="mark")
            yield Text(LEFT - 8.0, y + 3.2, mark, MARK_SIZE, TEXT_SOFT, "end")
    levels: dict[Layer, list[tuple[float, float]]] = {layer: [] for layer in LAYERS}
    for stroke in gestures_of(row.notes):
        levels[stroke[0].layer].append((stroke[-1].onset_s, level_of(stroke)))
    played = [(layer, sorted(found)) for layer, found in levels.items() if found]
    for layer, found in sorted(played, key=lambda item: sum(level for _, level in item[1]) / len(item[1])):
        points = tuple((x_of(onset_s), y_of(level_db)) for onset_s, level_db in found)
        yield from _curve(layer, points, sorted(level_db for _, level_db in found)[len(found) // 2])


def _curve(layer: Layer, points: tuple[Point, ...], middle_db: float) -> Iterator[Shape]:
    """Yield a layer's line through the levels of its strokes, as heavy as the middle one, and a dot for each."""
    width = min(max(0.3 * radius_of(middle_db), LIGHTEST_LINE), HEAVIEST_LINE)
    look = LOOKS[layer]
    tone = toned(look.colour, ink_of(middle_db))
    dash = tuple(width * part for part in look.dash)
    yield Path(points, Ink(stroke=tone, width=width, dash=dash), name=f"level {layer}")
    for x, y in points:
        yield Disc(x, y, 0.8 * width, Ink(fill=tone))
