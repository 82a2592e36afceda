"""Loudness and true peak of audio that comes in blocks and is never held whole."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from render.tracks.loudness import (
    SETTLING_STEPS,
    gated_loudness_lufs,
    part_peak_dbtp,
    plain_loudness_lufs,
    step_energies,
    step_frames_of,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Meter"]

PIECE_STEPS = 100
"""Steps of 100 ms that are measured at a time."""


class Meter:
    """Measures integrated loudness (ITU-R BS.1770-5) and true peak as blocks are fed to it.

    The figures are those of `render.tracks.loudness` for the same audio in one piece.

    Parameters
    ----------
    sample_rate_hz
        Frames a second, 8000 to 192 000.
    loudness
        Whether loudness is asked for; the peak alone is found sooner.
    """

    def __init__(self, sample_rate_hz: int, *, loudness: bool = True) -> None:
        self._rate_hz = sample_rate_hz
        self._loudness = loudness
        self._step_frames = step_frames_of(sample_rate_hz)
        self._before: list[NDArray[np.float32]] = []
        self._coming: list[NDArray[np.float32]] = []
        self._coming_frames = 0
        self._energies: list[NDArray[np.float64]] = []
        self._peak_dbtp = -math.inf
        self._frames = 0

    def feed(self, block: NDArray[np.float32]) -> None:
        """Take the next block, float32 (frames, 1 or 2); it isn't changed and mustn't be afterwards."""
        self._coming.append(block)
        self._coming_frames += len(block)
        self._frames += len(block)
        if self._coming_frames >= (PIECE_STEPS + SETTLING_STEPS) * self._step_frames:
            self._measure(PIECE_STEPS * self._step_frames)

    def _measure(self, frames: int | None) -> None:
        """Measure so many frames of what has come, all of it without a number; keep what the next needs before it."""
        import numpy as np

        coming = np.concatenate(self._coming)
        before = self._before[0] if self._before else coming[:0]
        counted = len(coming) if frames is None else frames
        whole = np.concatenate([before, coming])
        self._peak_dbtp = part_peak_dbtp(whole, len(before), len(before) + counted, self._peak_dbtp)
        if self._loudness:
            energies = step_energies(whole[: len(before) + counted], self._rate_hz)
            self._energies.append(energies[len(before) // self._step_frames :])
        keep = SETTLING_STEPS * self._step_frames
        self._before = [whole[max(len(before) + counted - keep, 0) : len(before) + counted]]
        self._coming = [coming[counted:]]
        self._coming_frames = len(coming) - counted

    def finish(self) -> tuple[float, float]:
        """Return loudness in LUFS and true peak in dBTP of all that came; minus infinity for silence.

        Loudness of audio too quiet for the gates is measured without them.
        """
        import numpy as np

        if self._coming_frames:
            self._measure(None)
        energies = np.concatenate([np.zeros(0), *self._energies])
        lufs = gated_loudness_lufs(energies, self._frames, self._rate_hz)
        if lufs == -math.inf and self._frames:
            lufs = plain_loudness_lufs(energies, self._frames)
        return lufs, self._peak_dbtp
