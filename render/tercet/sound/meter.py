"""Loudness and true peak of audio that comes in blocks and is never held whole."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tercet.sound.k_weighting import KWeightedEnergies
from tercet.sound.loudness import (
    PEAK_BLOCK_FRAMES,
    gated_loudness_lufs,
    part_peak_dbtp,
    plain_loudness_lufs,
    step_frames_of,
)

__all__ = ["Meter"]

PIECE_STEPS = 16
"""Steps of 100 ms that are measured at a time."""

CHANNELS = 2
AROUND_FRAMES = 2 * PEAK_BLOCK_FRAMES
"""Frames before and after a piece that a peak in it may depend on."""


class Meter:
    """Measures integrated loudness (ITU-R BS.1770-5) and true peak as blocks are fed to it.

    The figures are those of `tercet.sound.loudness` for the same audio in one piece.

    Parameters
    ----------
    sample_rate_hz
        Frames a second, 8000 to 192 000.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        step_frames = step_frames_of(sample_rate_hz)
        self._piece_frames = PIECE_STEPS * step_frames
        self._held = np.empty((self._piece_frames + 2 * AROUND_FRAMES, CHANNELS), np.float32)
        self._held_frames = 0
        self._before_frames = 0
        self._weighted = KWeightedEnergies(sample_rate_hz, step_frames, CHANNELS)
        self._energies: list[NDArray[np.float64]] = []
        self._peak_dbtp = -math.inf
        self._frames = 0

    def feed(self, block: NDArray[np.float32]) -> None:
        """Take the next block, float32 (frames, 2)."""
        self._frames += len(block)
        while len(block):
            room = self._before_frames + self._piece_frames + AROUND_FRAMES - self._held_frames
            taken, block = block[:room], block[room:]
            self._held[self._held_frames : self._held_frames + len(taken)] = taken
            self._held_frames += len(taken)
            if len(taken) == room:
                self._measure(self._piece_frames)

    def _measure(self, frames: int) -> None:
        """Measure so many frames of what is held and isn't measured; keep what those after them need before them."""
        start, stop = self._before_frames, self._before_frames + frames
        held = self._held[: self._held_frames]
        self._peak_dbtp = part_peak_dbtp(held, start, stop, self._peak_dbtp)
        self._energies.append(self._weighted.of(held[start:stop]))
        kept = held[max(stop - AROUND_FRAMES, 0) :].copy()
        self._held[: len(kept)] = kept
        self._before_frames = min(stop, AROUND_FRAMES)
        self._held_frames = len(kept)

    def finish(self) -> tuple[float, float]:
        """Return loudness in LUFS and true peak in dBTP of all that came; minus infinity for silence.

        Loudness of audio too quiet for the gates is measured without them.
        """
        if self._held_frames > self._before_frames:
            self._measure(self._held_frames - self._before_frames)
        energies = np.concatenate([np.zeros(0), *self._energies])
        lufs = gated_loudness_lufs(energies, self._frames, self._rate_hz)
        if lufs == -math.inf and self._frames:
            lufs = plain_loudness_lufs(energies, self._frames)
        return lufs, self._peak_dbtp
