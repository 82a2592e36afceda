"""Making a song louder than its peaks allow: one curve, from its demo, that eases the highest of them in every track.

The curve belongs to the song's own time, at full speed, and doesn't depend on which layers are heard. So layers still
add up to the demo, and a bar comes the same in every track. A song that is played flat has a curve of its own, where
its peaks leave too little room to be as loud as the demo.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.sound.loudness import PEAK_BLOCK_FRAMES

__all__ = ["BLOCK_FRAMES", "LOUD_LUFS", "MOST_DB", "Easing", "Stretch", "eased", "easing_of"]

MOST_DB = 2.0
"""The highest peak is lowered by so much, and everything else comes out louder by it."""

LOUD_LUFS = -13.5
"""No song is made louder than this."""

BLOCK_FRAMES = PEAK_BLOCK_FRAMES
"""The curve has a value for each so many frames, 5 ms; straight lines lie between."""

HELD_BLOCKS, EASED_BLOCKS = 12, 11
"""How long before and after a peak all of its lowering holds, and over how long it comes and goes, 59 ms each: slowly
enough that it isn't heard, and never less than a peak asks for."""

BETWEEN_SAMPLES_DB = 0.1
"""How much higher the wave of a pluck may rise between samples."""

Sound = NDArray[np.float32]


@dataclass(frozen=True, eq=False, slots=True)
class Easing:
    """By how much a song is lowered, where its peaks are.

    Parameters
    ----------
    first_frame
        The frame of the song, from its first beat at full speed, that the first value stands for.
    down_db
        float64 (values,), one for each `BLOCK_FRAMES`; 0 to `MOST_DB`, and 0 around them.
    """

    first_frame: float
    down_db: NDArray[np.float64]

    def at(self, frames: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return by how much the song is lowered at some frames of it, in dB."""
        places = (frames - self.first_frame) / BLOCK_FRAMES
        return np.interp(places, np.arange(len(self.down_db)), self.down_db, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where a part of a track lies in the song.

    Parameters
    ----------
    start_frame
        Where it begins in the track; it goes on to where the next begins.
    zero_frame
        The frame of the track that the song's first beat would fall on.
    speed
        Of the track against the song.
    easing
        What it is lowered by; None for nothing.
    """

    start_frame: int
    zero_frame: int
    speed: float
    easing: Easing | None


def easing_of(heights: NDArray[np.float32], start_frame: int, peak_dbtp: float) -> Easing:
    """Return the curve after which no peak of a song comes within `MOST_DB` of what the highest was.

    Parameters
    ----------
    heights
        Of each `BLOCK_FRAMES` the highest sample of the demo and its layers.
    start_frame
        Where the song's first beat falls in them.
    peak_dbtp
        The highest true peak of them all.
    """
    heights_db = 20.0 * np.log10(np.maximum(heights.astype(np.float64), 1e-9)) + BETWEEN_SAMPLES_DB
    over_db = np.clip(heights_db - (peak_dbtp - MOST_DB), 0.0, MOST_DB)
    reach = HELD_BLOCKS + EASED_BLOCKS
    padded = np.pad(over_db, reach + HELD_BLOCKS)
    held = np.lib.stride_tricks.sliding_window_view(padded, 2 * HELD_BLOCKS + 1).max(axis=1)
    window = np.hanning(2 * EASED_BLOCKS + 3)[1:-1]
    down_db = np.convolve(held, window / window.sum(), "valid")
    lead = (len(down_db) - len(heights)) // 2
    return Easing((0.5 - lead) * BLOCK_FRAMES - start_frame, down_db)


def eased(blocks: Iterator[Sound], stretches: Sequence[Stretch]) -> Iterator[Sound]:
    """Yield the music of a track, block by block, with its peaks lowered."""
    if not any(each.easing for each in stretches):
        yield from blocks
        return
    starts = np.array([each.start_frame for each in stretches])
    frame = 0
    for block in blocks:
        grid = np.arange(frame, frame + len(block) + BLOCK_FRAMES, BLOCK_FRAMES)
        down_db, places = np.zeros(len(grid)), np.maximum(np.searchsorted(starts, grid, "right") - 1, 0)
        for place in np.unique(places):
            stretch, inside = stretches[place], places == place
            if stretch.easing is not None:
                down_db[inside] = stretch.easing.at((grid[inside] - stretch.zero_frame) * stretch.speed)
        if down_db.any():
            within = np.interp(np.arange(frame, frame + len(block)), grid, 10.0 ** (-down_db / 20.0))
            block = block * within.astype(np.float32)[:, None]  # noqa: PLW2901 - the block as it is heard
        yield block
        frame += len(block)
