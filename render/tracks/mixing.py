"""Mixing: excerpts where they sound, under their layers' gains, and cues at their own level."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from render.tracks.cues import LONGEST_CUE_FRAMES, Cue, add_cue

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from render.tracks.excerpts import Excerpt
    from render.tracks.plan import Sounding, TrackPlan

    Sound = NDArray[np.float32]

__all__ = ["BLOCK_FRAMES", "Reader", "add_cues", "mix_blocks"]

BLOCK_FRAMES = 65_536
"""Frames mixed at a time: small enough for the processor's cache, and for Ogg in one write."""

Reader = Callable[["Excerpt"], "Sound"]
"""Gives the sound of an excerpt, float32 (frames, 2)."""


def mix_blocks(
    plan: TrackPlan, read: Reader, gain_of: Callable[[Sounding], float], length_frames: int
) -> Iterator[Sound]:
    """Yield the music of a track block by block, without cues.

    Parameters
    ----------
    plan
        What sounds when.
    read
        Gives the sound of an excerpt.
    gain_of
        The factor for an excerpt where it sounds; 0 leaves it out.
    length_frames
        Of all blocks together.

    Yields
    ------
    float32 (frames, 2), `BLOCK_FRAMES` frames each, the last one shorter; what has one gain is added up first, then all
    in float64, so that tracks that share excerpts add up to within the steps of a file.
    """
    import numpy as np

    waiting = iter(plan.soundings)
    coming = next(waiting, None)
    sounding: list[tuple[int, Sound, float]] = []
    for block_frame in range(0, length_frames, BLOCK_FRAMES):
        frames = min(BLOCK_FRAMES, length_frames - block_frame)
        while coming is not None and coming.start_frame < block_frame + frames:
            gain = gain_of(coming)
            if gain:
                sounding.append((coming.start_frame, read(coming.excerpt), gain))
            coming = next(waiting, None)
        block = np.zeros((frames, 2))
        for gain in dict.fromkeys(gain for _, _, gain in sounding):
            alike = [(start - block_frame, sound) for start, sound, its_gain in sounding if its_gain == gain]
            block += gain * _sum(alike, frames)
        sounding = [each for each in sounding if each[0] + len(each[1]) > block_frame + frames]
        yield block.astype(np.float32)


def _sum(sounds: Sequence[tuple[int, Sound]], frames: int) -> Sound:
    """Return the sum of sounds in a block, each of which begins at a frame of it, before it or behind it."""
    import numpy as np

    total = np.zeros((frames, 2), np.float32)
    for start, sound in sounds:
        first = max(start, 0)
        inside = sound[first - start : frames - start] if start < frames else sound[:0]
        total[first : first + len(inside)] += inside
    return total


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
