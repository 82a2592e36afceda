"""Mixing: clips where they sound, under their layers' gains, and cues at their own level."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from tercet.tracks.clips.cutting import Clip
from tercet.tracks.clips.plan import Sounding, TrackPlan
from tercet.tracks.cues import LONGEST_CUE_FRAMES, Cue, add_cue

Sound = NDArray[np.float32]

__all__ = ["BLOCK_FRAMES", "Reader", "add_cues", "mix_blocks", "mix_spans"]

BLOCK_FRAMES = 65_536
"""Frames of a block: few enough for Ogg in one write."""

PART_FRAMES = 32_768
"""Frames mixed at a time: what is added up and what it is added to fit into a processor's own cache."""

Reader = Callable[["Clip"], "Sound"]
"""Gives the sound of a clip, float32 (frames, 2)."""


def mix_blocks(
    plan: TrackPlan, read: Reader, gain_of: Callable[[Sounding], float], length_frames: int
) -> Iterator[Sound]:
    """Yield the music of a track block by block, without cues: `BLOCK_FRAMES` frames each, the last one shorter.

    Parameters
    ----------
    plan, read, gain_of
        As in `mix_spans`.
    length_frames
        Of all blocks together.
    """
    starts = range(0, length_frames, BLOCK_FRAMES)
    spans = [(start, min(start + BLOCK_FRAMES, length_frames)) for start in starts]
    return mix_spans(plan, read, gain_of, spans)


def mix_spans(
    plan: TrackPlan, read: Reader, gain_of: Callable[[Sounding], float], spans: Iterable[tuple[int, int]]
) -> Iterator[Sound]:
    """Yield the music of some ranges of a track, without cues.

    Parameters
    ----------
    plan
        What sounds when.
    read
        Gives the sound of a clip.
    gain_of
        The factor for a clip where it sounds; 0 leaves it out.
    spans
        From which frame up to which, in order of their beginnings; they may overlap.

    Yields
    ------
    float32 (frames, 2); tracks that share clips add up to within float32's own steps, 140 dB below full scale.
    """
    waiting = iter(plan.soundings)
    coming = next(waiting, None)
    desk = _Desk()
    sounding: list[tuple[int, Sound, float]] = []
    for start_frame, stop_frame in spans:
        while coming is not None and coming.start_frame < stop_frame:
            gain = gain_of(coming)
            if gain:
                sounding.append((coming.start_frame, read(coming.clip), gain))
            coming = next(waiting, None)
        sounding = [each for each in sounding if each[0] + len(each[1]) > start_frame]
        yield desk.mixed(sounding, start_frame, stop_frame)


class _Desk:
    """Adds sounds up, part by part; a part stays in the processor's cache, and its memory is used again and again."""

    def __init__(self) -> None:
        self._scaled = np.empty((PART_FRAMES, 2), np.float32)

    def mixed(self, sounding: Sequence[tuple[int, Sound, float]], start_frame: int, stop_frame: int) -> Sound:
        """Return sounds, each (first frame, samples, gain), from a frame up to another."""
        mix = np.empty((stop_frame - start_frame, 2), np.float32)
        for part_frame in range(start_frame, stop_frame, PART_FRAMES):
            part = mix[part_frame - start_frame :][:PART_FRAMES]
            heard = False
            for first, sound, gain in sounding:
                start, stop = max(first - part_frame, 0), min(first + len(sound) - part_frame, len(part))
                if start >= stop:
                    continue
                inside = sound[part_frame + start - first : part_frame + stop - first]
                if heard:
                    part[start:stop] += np.multiply(
                        inside, np.float32(gain), out=self._scaled[: stop - start]
                    )
                else:
                    part[:start] = 0.0
                    np.multiply(inside, np.float32(gain), out=part[start:stop])
                    part[stop:] = 0.0
                    heard = True
            if not heard:
                part[:] = 0.0
        return mix


def add_cues(blocks: Iterator[Sound], cues: Sequence[Cue]) -> Iterator[Sound]:
    """Yield the blocks of a track with its cues in them, which no gain changes."""
    block_frame, first = 0, 0
    for block in blocks:
        end = block_frame + len(block)
        for cue in cues[first:]:
            if cue.frame >= end:
                break
            add_cue(cue, block, block_frame)
        while first < len(cues) and cues[first].frame + LONGEST_CUE_FRAMES < end:
            first += 1
        yield block
        block_frame = end
