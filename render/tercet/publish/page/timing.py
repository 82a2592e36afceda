"""When everything of a song sounds, speed by speed, for the page's player."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tercet.arranging import Arrangement
from tercet.performing import Take, TakeNote, lay_out
from tercet.performing.tempo import Swing, piece_clock
from tercet.performing.timeline import count_in, runs_of
from tercet.publish.page.stems import Piece

__all__ = ["Peaks", "SpeedTiming", "bar_peaks", "note_key", "speed_facts", "speed_label"]

COUNT_IN_BARS = (1, 2)
"""How many bars a page can count in."""

NoteKey = tuple[int, Fraction, str, int]
"""A sounding string by its place: bar, beat, layer, string. It is the same at every speed."""

Peaks = Mapping[str, Sequence[float]]
"""For each part that sounds the highest sample in each bar, full scale being 1."""


def note_key(note: TakeNote) -> NoteKey:
    """Return the place of a note."""
    return note.bar_index, note.beat, note.layer, note.string


def speed_label(speed: Fraction) -> str:
    """Return a speed as it stands in the names of stems: ``100``, ``66-5``."""
    return f"{float(speed * 100):g}".replace(".", "-")


@dataclass(frozen=True, slots=True)
class SpeedTiming:
    """A song at one speed.

    Parameters
    ----------
    speed
        As a part of the song's tempo.
    take
        How it is played, without a count-in.
    length_s
        Of its stems, the ringing end included.
    peaks
        Of its stems.
    pieces
        Of its stems that are stored without their rests, in order.
    """

    speed: Fraction
    take: Take
    length_s: float
    peaks: Peaks
    pieces: Mapping[str, Sequence[Piece]] = field(default_factory=dict)


def bar_peaks(stem: NDArray[np.float32], take: Take, rate_hz: int) -> list[float]:
    """Return how high a stem, float32 (frames, 1), gets in each bar.

    The last bar has what rings after it too.
    """
    edges = [round(bar.start_s * rate_hz) for bar in take.bars] + [len(stem)]
    edges[0] = 0
    return [round(float(abs(stem[start:stop]).max(initial=0.0)), 4) for start, stop in pairwise(edges)]


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
        "count": _counts(arrangement, timing.speed),
        "peaks": timing.peaks,
        "pieces": timing.pieces,
    }


def _counts(arrangement: Arrangement, speed: Fraction) -> dict[str, list[list[list[int]]]]:
    """Return the strokes before a whole bar and before a pick-up, where the song has one of each."""
    clock = piece_clock(arrangement, Swing(arrangement))
    counts: dict[str, list[list[list[int]]]] = {}
    for index, bar in enumerate(arrangement.bars):
        kind = "pickup" if bar.section_bar == 0 else "bar"
        if kind in counts:
            continue
        counts[kind] = []
        for bars in COUNT_IN_BARS:
            timeline = lay_out(arrangement, [index], speed, bars)
            start_s = runs_of(arrangement, timeline, clock)[0].start_s
            clicks = count_in(arrangement, timeline, clock)
            counts[kind].append([[_ms(click.onset_s - start_s), int(click.first)] for click in clicks])
    return counts


def _ms(seconds: float) -> int:
    return round(1000.0 * seconds)
