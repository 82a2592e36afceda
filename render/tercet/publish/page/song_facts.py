"""What the page's player knows of a song: its bars, notes, words and lines with their shapes; and when each sounds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from tercet.arranging import Arrangement, Gesture
from tercet.performing import Take, TakeNote, lay_out
from tercet.performing.tempo import Swing, piece_clock
from tercet.performing.timeline import count_in, pulse_beats, runs_of
from tercet.publish.page.sound import SpeedTiming, speed_label
from tercet.publish.pictures.chord_diagram import spoken_shape
from tercet.publish.pictures.looks import places
from tercet.publish.pictures.note_marks import middle_levels_db
from tercet.publish.pictures.shapes_used import LineShapes, ShapeUse, chord_at, shapes_by_line
from tercet.song import Bar, Layer

__all__ = [
    "PLACES",
    "SongFacts",
    "counted_in",
    "natural_places",
    "note_key",
    "pulse_facts",
    "song_facts",
    "speed_facts",
]

PLACES = ("front", "middle", "back", "out")

_NATURAL = {
    "in front": "front",
    "side by side": "front",
    "close behind": "middle",
    "in the middle": "middle",
    "at the back": "back",
    "out": "out",
}
"""Where a layer stands on the page from the start, by what the picture of the take says of it."""

COUNT_IN_BARS = (1, 2)
"""How many bars a page can count in."""

NoteKey = tuple[int, Fraction, str, int]
"""A sounding string by its place: bar, beat, layer, string. It is the same at every speed."""


@dataclass(frozen=True, slots=True)
class SongFacts:
    """The facts, and what they refer to.

    Parameters
    ----------
    facts
        Plain data for the page: ``layers``, ``bars``, ``lines``, ``notes``, ``gestures``, ``words``.
    order
        The place of each note, in the order of ``notes``.
    gestures
        The arrangement's gestures that sound, in the order of ``gestures``: those of the second voice are counted on
        from the others.
    shapes
        The shapes, in the order in which ``lines`` refer to them.
    """

    facts: dict[str, Any]
    order: tuple[NoteKey, ...]
    gestures: tuple[int, ...]
    shapes: tuple[ShapeUse, ...]


def natural_places(take: Take, layers: Sequence[Layer]) -> dict[Layer, str]:
    """Return where each layer of a song stands in a take: front, middle, back, or out if it rests."""
    return {layer: _NATURAL[place] for layer, place in places(middle_levels_db(take), layers).items()}


def song_facts(arrangement: Arrangement, take: Take) -> SongFacts:
    """Return the facts of a song; `take` plays the whole of it."""
    bar_index = {bar.number: index for index, bar in enumerate(arrangement.bars)}
    both = (*arrangement.gestures, *arrangement.second)
    by_place = {
        (gesture.start_beat, gesture.layer, note.string): index
        for index, gesture in enumerate(both)
        for note in gesture.notes
    }
    played = [by_place[note.beat, note.layer, note.string] for note in take.notes]
    gestures = tuple(dict.fromkeys(played))
    place = {index: number for number, index in enumerate(gestures)}
    lines = shapes_by_line(arrangement)
    shapes = tuple(dict.fromkeys(shape for line in lines for shape in line.shapes))
    line_of = {bar.number: index for index, line in enumerate(lines) for bar in line.bars}
    layers = arrangement.song.layers
    natural = natural_places(take, layers)
    facts = {
        "layers": [{"name": layer, "natural": natural[layer]} for layer in layers],
        "bars": [_bar_facts(bar, line_of[bar.number]) for bar in arrangement.bars],
        "lines": [_line_facts(line, shapes, bar_index) for line in lines],
        "shapes": [spoken_shape(shape) for shape in shapes],
        "notes": [
            [note.bar_index, layers.index(note.layer), note.string, place[index], int(note.part == "tune")]
            for note, index in zip(take.notes, played, strict=True)
        ],
        "gestures": [_shape_of(both[index], arrangement, lines, line_of, bar_index) for index in gestures],
        "words": list(_words(arrangement, take.notes, line_of)),
    }
    return SongFacts(facts, tuple(map(note_key, take.notes)), gestures, shapes)


def _line_facts(line: LineShapes, shapes: Sequence[ShapeUse], bar_index: dict[int, int]) -> dict[str, Any]:
    return {
        "first": bar_index[line.bars[0].number],
        "last": bar_index[line.bars[-1].number],
        "shapes": [shapes.index(shape) for shape in line.shapes],
    }


def _shape_of(
    gesture: Gesture,
    arrangement: Arrangement,
    lines: Sequence[LineShapes],
    line_of: dict[int, int],
    bar_index: dict[int, int],
) -> int:
    """Return which shape of its line a gesture is played with, from 0; −1 for a single note."""
    if gesture.action == "single" or len(gesture.shape) != 4:
        return -1
    chord = chord_at(gesture, arrangement.bars[bar_index[gesture.bar_number]])
    for place, shape in enumerate(lines[line_of[gesture.bar_number]].shapes):
        if (shape.chord, shape.frets) == (chord, gesture.shape):
            return place
    return -1


def _bar_facts(bar: Bar, line: int) -> dict[str, Any]:
    return {
        "number": bar.number,
        "section": bar.section,
        "pass": bar.pass_number,
        "line": line,
        "pickup": int(bar.section_bar == 0),
    }


def _words(
    arrangement: Arrangement, notes: Sequence[TakeNote], line_of: dict[int, int]
) -> Iterator[list[Any]]:
    """Yield each syllable: its line, its text with a hyphen where the word goes on, the note that it is sung to.

    Where nothing of the tune is struck there (it can't be played), the note is −1. Then follow its bar, and how far
    into the bar it falls, in thousandths.
    """
    struck = {(note.bar_index, note.beat): index for index, note in enumerate(notes) if note.part == "tune"}
    for index, bar in enumerate(arrangement.bars):
        for at_beat, syllable in bar.words:
            if syllable.holds:
                continue
            note = struck.get((index, bar.start_beat + at_beat), -1)
            text = syllable.text + ("-" if syllable.joined else "")
            yield [line_of[bar.number], text, note, index, round(1000 * at_beat / bar.length_beat)]


# ---- speed by speed


def note_key(note: TakeNote) -> NoteKey:
    """Return the place of a note."""
    return note.bar_index, note.beat, note.layer, note.string


def speed_facts(timing: SpeedTiming, arrangement: Arrangement, order: Sequence[NoteKey]) -> dict[str, Any]:
    """Return what the player knows of a speed; times are whole milliseconds of the stems.

    ``onset`` and ``end`` are in the order of the song's notes; −1 for a note that this speed doesn't have.
    ``count`` says when the strokes of a count-in fall, before a whole bar and before a pick-up, for each of
    `COUNT_IN_BARS`: pairs of (ms from the bar's start, whether it is a bar's first).
    """
    found: Mapping[NoteKey, TakeNote] = {note_key(note): note for note in timing.take.notes}
    onsets, ends = [], []
    for key in order:
        note = found.get(key)
        onsets.append(-1 if note is None else _ms(note.onset_s))
        ends.append(-1 if note is None else _ms(note.onset_s + note.length_s))
    return {
        "name": speed_label(timing.speed),
        "percent": float(timing.speed * 100),
        "length": _ms(timing.length_s),
        "bars": [[_ms(bar.start_s), _ms(bar.end_s)] for bar in timing.take.bars],
        "onset": onsets,
        "end": ends,
        "count": counted_in(arrangement, timing.speed),
        "peaks": timing.peaks,
        "pieces": timing.pieces,
    }


def counted_in(arrangement: Arrangement, speed: Fraction) -> dict[str, list[list[list[float]]]]:
    """Return the strokes before a whole bar and before a pick-up, where the song has one of each, as above."""
    clock = piece_clock(arrangement, Swing(arrangement))
    counts: dict[str, list[list[list[float]]]] = {}
    for index, bar in enumerate(arrangement.bars):
        kind = "pickup" if bar.section_bar == 0 else "bar"
        if kind in counts:
            continue
        counts[kind] = []
        for bars in COUNT_IN_BARS:
            timeline = lay_out(arrangement, [index], speed, bars)
            start_s = runs_of(arrangement, timeline, clock)[0].start_s
            clicks = count_in(arrangement, timeline, clock)
            counts[kind].append(
                [[round(1000.0 * (click.onset_s - start_s), 3), int(click.first)] for click in clicks]
            )
    return counts


def pulse_facts(arrangement: Arrangement, take: Take) -> list[list[list[float]]]:
    """Return where a metronome clicks: in each bar at which parts of it, each with whether it is a bar's first.

    Parameters
    ----------
    arrangement
        The piece.
    take
        All of it.
    """
    beats, seconds = zip(*((float(point.take_beat), point.onset_s) for point in take.tempo_map), strict=True)
    end = arrangement.bars[-1].start_beat + arrangement.bars[-1].length_beat
    later = beats[-1] - float(end)
    pulses: list[list[list[float]]] = []
    for bar, played in zip(arrangement.bars, take.bars, strict=True):
        inside = list(pulse_beats(arrangement, bar.start_beat, bar.start_beat + bar.length_beat))
        onsets = np.interp([later + float(beat) for beat, _ in inside], beats, seconds)
        length_s = played.end_s - played.start_s
        pulses.append(
            [
                [round((float(onset_s) - played.start_s) / length_s, 6), int(first)]
                for onset_s, (_, first) in zip(onsets, inside, strict=True)
            ]
        )
    return pulses


def _ms(seconds: float) -> int:
    return round(1000.0 * seconds)
