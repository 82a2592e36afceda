"""The picture of what was heard: for each line of music the wanted take above, and below what was played of it.

Both share time and pitch, so a stroke that came late lies to the right of its place above, and one that was struck too
hard is larger and darker. A ring of dashes marks what wasn't as wanted: round the note that was heard, or round the
empty place of one that wasn't.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from statistics import median

from tercet.hearing import Heard, HeardStroke
from tercet.performing import TakeNote
from tercet.publish.paragraphs import fitted
from tercet.publish.pictures.looks import FAINT, PAPER, TEXT, TEXT_SOFT, radius_of
from tercet.publish.pictures.note_marks import Frame, gestures_of, note_marks
from tercet.publish.pictures.take_rows import PictureRow, picture_rows
from tercet.publish.shapes import Disc, Drawing, Group, Ink, Path, Shape, Text
from tercet.song import Layer
from tercet.theory import spell

__all__ = ["heard_picture"]

WIDTH = 1200.0
LEFT, RIGHT = 128.0, 36.0
SEMITONE = 7.0
HEAD, BARS, BETWEEN, GAP = 124.0, 28.0, 14.0, 34.0
"""Heights: of title and sentence, of bar numbers, between the two fields, below a row."""

LABEL = 22.0
"""Size of labels: on a phone a picture is shown at half its size."""

ROOM = 30.0
"""Above the highest and below the lowest note of a field."""

LEAST_RING = 9.0
WIDEST_SCALE = 1.25
SENTENCE = "Above, the take as it is wanted; below, what was heard. A dashed ring is a place to listen to."


@dataclass(frozen=True, slots=True)
class _Field:
    """One of the two fields of a row: its first second, units to a second, its lowest key, and its edges."""

    start_s: float
    unit: float
    low_midi: int
    top: float
    bottom: float
    right: float

    def x_of(self, at_s: float) -> float:
        """Return where a time of the wanted take falls."""
        return LEFT + (at_s - self.start_s) * self.unit

    def y_of(self, midi: float) -> float:
        """Return where a pitch falls."""
        return self.bottom - ROOM - SEMITONE * (midi - self.low_midi)


def heard_picture(heard: Heard) -> Drawing:
    """Return the picture of what was heard, 1200 units wide and as tall as the rows that were played need."""
    wanted = heard.wanted
    rows = [
        row
        for row in picture_rows(wanted, heard.arrangement)
        if any(heard.first_bar <= bar.number <= heard.last_bar for bar in row.played)
    ]
    keys = [note.midi for note in wanted.notes] + [
        s.heard_midi for s in heard.strokes if s.heard_midi is not None
    ]
    low, high = min(keys), max(keys)
    height = SEMITONE * (high - low) + 2.0 * ROOM
    scale = WIDEST_SCALE * (WIDTH - LEFT - RIGHT) / median(row.end_s - row.start_s for row in rows)
    strokes = _last_played(heard)
    notes = _heard_notes(heard, strokes)
    shapes = list(_title(heard))
    y = HEAD
    for row in rows:
        unit = min(scale, (WIDTH - LEFT - RIGHT) / (row.end_s - row.start_s))
        right = LEFT + unit * (row.end_s - row.start_s)
        tops = (y + BARS, y + BARS + height + BETWEEN)
        fields = [_Field(row.start_s, unit, low, top, top + height, right) for top in tops]
        shapes += _row(row, heard, fields, notes, strokes)
        y += BARS + 2.0 * height + BETWEEN + GAP
    title = f"{heard.arrangement.song.title}: {heard.name}"
    return Drawing(WIDTH, y, tuple(shapes), PAPER, title, SENTENCE)


def _title(heard: Heard) -> Iterator[Shape]:
    title = Text(LEFT, 44.0, heard.arrangement.song.title, 34.0, TEXT, style="bold", name="title")
    yield fitted(title, WIDTH - LEFT - RIGHT, 12.0)
    yield fitted(Text(LEFT, 76.0, heard.name, LABEL, TEXT_SOFT, name="recording"), WIDTH - LEFT - RIGHT, 12.0)
    yield fitted(Text(LEFT, 108.0, SENTENCE, LABEL, TEXT), WIDTH - LEFT - RIGHT, 12.0)


def _last_played(heard: Heard) -> Mapping[int, HeardStroke]:
    """Return each stroke as it was played last, by its place."""
    return {stroke.stroke: stroke for stroke in heard.strokes}


def _heard_notes(heard: Heard, strokes: Mapping[int, HeardStroke]) -> tuple[TakeNote, ...]:
    """Return the wanted notes as they were heard: where, how loud, and what sounded; without those that weren't."""
    made: list[TakeNote] = []
    by_onset = {
        (round(stroke[0].onset_s, 6), stroke[0].layer): stroke
        for stroke in map(_in_order, gestures_of(heard.wanted.notes))
    }
    shift = _level_shift(strokes, by_onset)
    for stroke in strokes.values():
        wanted = by_onset.get((round(stroke.wanted_s, 6), stroke.layer))
        if stroke.onset_s is None or wanted is None:
            continue
        louder = 0.0 if stroke.level_lu is None else stroke.level_lu - shift - _level(wanted)
        for note in wanted:
            played = note
            if stroke.verdict == "another note" and note is wanted[-1] and stroke.heard_midi is not None:
                played = replace(note, midi=stroke.heard_midi)
            made.append(
                replace(
                    played, onset_s=note.onset_s + stroke.off_s, level_db=min(note.level_db + louder, 12.0)
                )
            )
    return tuple(made)


def _in_order(stroke: tuple[TakeNote, ...]) -> tuple[TakeNote, ...]:
    return tuple(sorted(stroke, key=lambda note: (note.onset_s, -note.string)))


def _level(stroke: tuple[TakeNote, ...]) -> float:
    return max(note.level_db for note in stroke)


def _level_shift(
    strokes: Mapping[int, HeardStroke],
    by_onset: Mapping[tuple[float, Layer], tuple[TakeNote, ...]],
) -> float:
    """Return by how much heard levels lie above the wanted ones, in the median of the melody, or of all there is."""
    found = [
        (stroke.layer, stroke.level_lu - _level(by_onset[at, stroke.layer]))
        for stroke in strokes.values()
        if stroke.level_lu is not None and (at := round(stroke.wanted_s, 6), stroke.layer) in by_onset
    ]
    melody = [by for layer, by in found if layer == "melody"]
    return median(melody or [by for _, by in found] or [0.0])


def _row(
    row: PictureRow,
    heard: Heard,
    fields: list[_Field],
    notes: tuple[TakeNote, ...],
    strokes: Mapping[int, HeardStroke],
) -> Iterator[Shape]:
    above, below = fields
    for field, name in ((above, "wanted"), (below, "heard")):
        yield Text(LEFT - 30.0, 0.5 * (field.top + field.bottom), name, LABEL, TEXT_SOFT, "end", name="field")
        yield from _lines(row, field)
    for bar in row.played:
        yield Text(
            above.x_of(bar.start_s), above.top - 8.0, str(bar.number), LABEL, TEXT_SOFT, name="bar number"
        )
    layers = {stroke.layer for stroke in heard.strokes}
    yield from note_marks(
        [n for n in row.notes if n.layer in layers], Frame(above.x_of, above.y_of, above.right)
    )
    numbers = {bar.number for bar in row.played}
    inside = [note for note in notes if heard.wanted.bars[note.bar_index].number in numbers]
    yield from note_marks(inside, Frame(below.x_of, below.y_of, below.right))
    for stroke in strokes.values():
        if stroke.verdict != "played" and stroke.bar_number in numbers:
            yield _ring(stroke, heard, below)


def _lines(row: PictureRow, field: _Field) -> Iterator[Shape]:
    for at_s in (*(bar.start_s for bar in row.played), row.end_s):
        x = field.x_of(at_s)
        yield Path(((x, field.top), (x, field.bottom)), Ink(stroke=FAINT, width=1.4), name="bar line")
    for y in (field.top, field.bottom):
        yield Path(((LEFT, y), (field.right, y)), Ink(stroke=FAINT, width=1.0), name="edge")


def _ring(stroke: HeardStroke, heard: Heard, field: _Field) -> Group:
    """Return the ring round what wasn't as wanted, with words for whoever rests a pointer on it."""
    another = stroke.verdict == "another note" and stroke.heard_midi is not None
    midi = stroke.heard_midi if another and stroke.heard_midi is not None else stroke.strings[-1].midi
    x = field.x_of(stroke.wanted_s + stroke.off_s)
    radius = max(radius_of(0.0) + 4.0, LEAST_RING)
    ring = Disc(
        x,
        field.y_of(midi),
        radius,
        Ink(stroke=TEXT, width=1.6, dash=(3.0, 4.0)),
        name=f"ring {stroke.verdict}",
    )
    wanted = spell(stroke.strings[-1].midi, heard.arrangement.song.key)
    told = f"bar {stroke.bar_number}, {wanted}: {stroke.verdict}"
    return Group((ring,), "ring", told)
