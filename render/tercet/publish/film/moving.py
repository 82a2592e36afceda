"""What moves in a film: which line of music is played when, where in it the sound is, which marks are lit when."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from tercet.publish.film.lines import PieceLines
from tercet.publish.film.marks import STRUCK_S, Mark, head_of, note_of, word_of
from tercet.publish.film.sizes import POINTER_STEP, TITLE_S, frame_at
from tercet.publish.film.times import FilmTimes, Stroke
from tercet.publish.score.elements import GestureIds
from tercet.song import SECOND
from tercet.tracks.timelines import Piece

__all__ = ["LineKey", "Lit", "Visit", "along", "lit_marks", "visits_of"]

LineKey = tuple[Piece, int]
"""A line of music: its piece, and its number there."""

EARLY_S = 0.1
"""A stroke on a bar's first beat may come so much before the beat."""

BEHIND_DB = 100.0
"""What lies behind all heads that are struck."""


class Visit(NamedTuple):
    """A line of music while it is played: which, from when, and where in it the sound is when, as (seconds, pixels)."""

    line: LineKey
    start_s: float
    path: tuple[tuple[float, float], ...]


class Lit(NamedTuple):
    """A mark from one frame up to another, in a line; what is louder lies in front."""

    first: int
    end: int
    line: LineKey
    level_db: float
    mark: Mark


def visits_of(times: FilmTimes, pieces: Mapping[Piece, PieceLines]) -> tuple[Visit, ...]:
    """Return the lines in the order in which they are played; a line that is begun again is another visit."""
    struck = _columns_struck(times, pieces)
    found: list[tuple[LineKey, float, list[tuple[float, float]]]] = []
    before: tuple[LineKey, int] | None = None
    for bar in times.bars:
        lines = pieces[bar.piece]
        name = next((each for each in lines.bar_ids[bar.index] if each in lines.line_of), "")
        if not name:
            continue
        key = bar.piece, lines.line_of[name]
        if before is None or before[0] != key or before[1] >= bar.index:
            found.append((key, bar.start_s, []))
        before = key, bar.index
        left, right = lines.lines[key[1]].edges[name]
        inside = [
            (time_s, x)
            for time_s, x in struck.get((bar.piece, name), ())
            if bar.start_s - EARLY_S <= time_s < bar.end_s
        ]
        first = min([x for _, x in inside], default=left)
        found[-1][2].extend([(bar.start_s, first), *inside, (bar.end_s, right)])
    return tuple(Visit(key, start_s, tuple(_rising(path))) for key, start_s, path in found)


def _columns_struck(
    times: FilmTimes, pieces: Mapping[Piece, PieceLines]
) -> dict[tuple[Piece, str], list[tuple[float, float]]]:
    """Return for each printed bar when which of its columns is struck, in pixels."""
    found: dict[tuple[Piece, str], list[tuple[float, float]]] = {}
    for stroke in times.strokes:
        lines = pieces[stroke.piece]
        ids, name = _shown_by(stroke, lines)
        if ids is None or ids.bar not in lines.line_of:
            continue
        spot = lines.lines[lines.line_of[ids.bar]].spots.get(name or ids.strum)
        if spot is not None:
            found.setdefault((stroke.piece, ids.bar), []).append((stroke.onset_s, spot.x))
    return found


def _rising(path: Iterable[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """Yield places that go neither back in time nor to the left."""
    last_s, last_x = float("-inf"), float("-inf")
    for time_s, x in path:
        last_s, last_x = max(last_s, time_s), max(last_x, x)
        yield last_s, last_x


def along(path: Sequence[tuple[float, float]], now_s: float) -> float:
    """Return where the sound is at a time, evenly from place to place."""
    at = bisect_right(path, (now_s, float("inf")))
    if at == 0 or at == len(path):
        return path[min(at, len(path) - 1)][1]
    (before_s, before), (after_s, after) = path[at - 1], path[at]
    part = (now_s - before_s) / (after_s - before_s) if after_s > before_s else 1.0
    return before + part * (after - before)


def lit_marks(times: FilmTimes, pieces: Mapping[Piece, PieceLines]) -> tuple[Lit, ...]:
    """Return every mark with its frames, in order of the first of them."""
    found = (lit for stroke in times.strokes for lit in _marks_of(stroke, pieces[stroke.piece]))
    return tuple(sorted(found, key=lambda lit: lit.first))


def _shown_by(stroke: Stroke, lines: PieceLines) -> tuple[GestureIds | None, str]:
    """Return what shows a stroke's gesture, and the digit of its string; None for a voice that isn't engraved."""
    note = stroke.note
    if note.layer == SECOND:
        return None, ""
    ids = lines.gesture_ids[note.gesture]
    strings = [name for name in ids.strings if name.endswith(f"s{note.string}")]
    return ids, strings[0] if strings else ""


def _with_pointer(frame: int) -> int:
    """Return the next frame on which the pointer moves: when a mark goes matters less than a frame more costs."""
    return -(-frame // POINTER_STEP) * POINTER_STEP


def _marks_of(stroke: Stroke, lines: PieceLines) -> Iterator[Lit]:
    ids, name = _shown_by(stroke, lines)
    if ids is None or ids.bar not in lines.line_of:
        return
    key = stroke.piece, lines.line_of[ids.bar]
    line, note, shown = lines.lines[key[1]], stroke.note, stroke.shown
    first = frame_at(TITLE_S + stroke.onset_s)
    struck = _with_pointer(max(frame_at(TITLE_S + min(stroke.onset_s + STRUCK_S, stroke.end_s)), first + 1))
    end = max(_with_pointer(frame_at(TITLE_S + stroke.end_s)), struck)
    if spot := line.spots.get(name):
        head = head_of(spot, line.gap, note.layer, note.level_db, shown, ringing=False)
        yield Lit(first, struck, key, note.level_db, head)
        rings = head_of(spot, line.gap, note.layer, note.level_db, shown, ringing=True)
        yield Lit(struck, end, key, note.level_db - BEHIND_DB, rings)
    if ids.strings and name != ids.strings[-1]:
        return
    if spot := line.spots.get(ids.note):
        yield Lit(first, end, key, -BEHIND_DB, note_of(spot, note.layer, shown))
    for text in (ids.word, ids.strum):
        if spot := line.spots.get(text):
            yield Lit(first, end, key, -BEHIND_DB, word_of(spot, note.layer))
