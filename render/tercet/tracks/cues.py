"""Where the cues of a track fall: the count-in, the soft pulse, and the bell that says that the turn changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from tercet.performing.timeline import bars_between, counted_beats, pulse_beats
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.struck import knock, turn_bell

if TYPE_CHECKING:
    from tercet.tracks.clips.performed import Performed
    from tercet.tracks.timelines import Passage

__all__ = [
    "LONGEST_CUE_FRAMES",
    "Cue",
    "CueKind",
    "add_cue",
    "count_in_cues",
    "count_in_frames",
    "passage_cues",
]

CueKind = Literal["count", "pulse", "bell"]
"""A knock of the count-in, a soft knock during the music, or the bell of a change of turn."""

PULSE_DB = -9.0
"""How much softer than the count-in the pulse is: it holds the tempo and stays behind the quietest strums."""


LONGEST_CUE_FRAMES = 2 * SAMPLE_RATE_HZ
"""No cue sounds longer."""


@dataclass(frozen=True, slots=True)
class Cue:
    """One stroke of a cue: its frame in the track, and whether it is a bar's first."""

    kind: CueKind
    frame: int
    first: bool = False


def count_in_frames(performed: Performed, passage: Passage) -> int:
    """Return how long is counted before a passage."""
    counted = counted_beats(performed.arrangement, passage.start_beat, passage.count_in_bars)
    return round(float(counted) * _beat_s(performed) * SAMPLE_RATE_HZ)


def count_in_cues(performed: Performed, passage: Passage, start_frame: int) -> Iterator[Cue]:
    """Yield the knocks before a passage: one for each pulse, at its tempo; they go on where a pick-up is silent."""
    meter = performed.arrangement.song.meter
    counted = counted_beats(performed.arrangement, passage.start_beat, passage.count_in_bars)
    count = -(-counted // meter.pulse_beat)
    for number in range(int(count)):
        beat = number * meter.pulse_beat
        frame = start_frame + round(float(beat) * _beat_s(performed) * SAMPLE_RATE_HZ)
        yield Cue("count", frame, first=beat % meter.bar_beat == 0)
    yield from _counted_on(performed, passage, start_frame + count_in_frames(performed, passage))


def _counted_on(performed: Performed, passage: Passage, music_frame: int) -> Iterator[Cue]:
    """Yield knocks through a pick-up in which the piece is silent: without the tune, its first full bar begins."""
    if not passage.count_in_bars or passage.pulse:
        return
    arrangement = performed.arrangement
    bar = bars_between(arrangement, passage.start_beat, passage.end_beat)[0]
    end_beat = min(bar.start_beat + bar.length_beat, passage.end_beat)
    if end_beat - passage.start_beat >= arrangement.song.meter.bar_beat:
        return
    if not performed.between(passage.start_beat, end_beat):
        begins = performed.frame(passage.start_beat)
        for beat, first in pulse_beats(arrangement, passage.start_beat, end_beat):
            yield Cue("count", music_frame + performed.frame(beat) - begins, first)


def _beat_s(performed: Performed) -> float:
    return performed.clock.beat_s / float(performed.speed)


def passage_cues(performed: Performed, passage: Passage, start_frame: int) -> Iterator[Cue]:
    """Yield the bell and the pulse of a passage that begins at a frame of its track."""
    if passage.bell:
        yield Cue("bell", start_frame)
    if passage.pulse:
        begins = performed.frame(passage.start_beat)
        for beat, first in pulse_beats(performed.arrangement, passage.start_beat, passage.end_beat):
            yield Cue("pulse", start_frame + performed.frame(beat) - begins, first)


def add_cue(cue: Cue, block: NDArray[np.float32], block_frame: int) -> None:
    """Add what of a cue falls into a block (frames, 2) that begins at a frame of the track."""
    sound = turn_bell(SAMPLE_RATE_HZ) if cue.kind == "bell" else knock(cue.first, SAMPLE_RATE_HZ)
    start = cue.frame - block_frame
    inside = sound[max(-start, 0) : max(len(block) - start, 0)]
    if len(inside):
        gain = np.float32(10.0 ** (PULSE_DB / 20.0) if cue.kind == "pulse" else 1.0)
        block[max(start, 0) : max(start, 0) + len(inside)] += gain * inside[:, None]
