"""K-weighted levels of many short sounds at once, against an independent meter."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from render.sound.k_weighting import LOUDNESS_OFFSET_DB, k_weighted_levels_lufs
from tests.sound.takes import RATE_HZ


def plucks() -> NDArray[np.float32]:
    """Return 70 decaying sounds of 400 ms, (70, frames, 2), each of another pitch and level."""
    time_s = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    sounds = [
        10.0 ** (-number / 40.0) * np.exp(-4.0 * time_s) * np.sin(2.0 * np.pi * 60.0 * 1.07**number * time_s)
        for number in range(70)
    ]
    return np.asarray(np.stack([np.stack(sounds), 0.5 * np.stack(sounds)], axis=2), np.float32)


def witness_lufs(sound: NDArray[np.float32]) -> float:
    """Return the level of one sound by filtering it in time, with the coefficients of another library."""
    weighted = sound.astype(np.float64)
    for stage in pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")._filters.values():
        weighted = lfilter(stage.b, stage.a, weighted, axis=0)
    return float(LOUDNESS_OFFSET_DB + 10.0 * np.log10((weighted**2).sum(axis=1).mean()))


def test_levels_agree_with_a_filter_in_time() -> None:
    sounds = plucks()
    assert k_weighted_levels_lufs(sounds, RATE_HZ) == pytest.approx(
        [witness_lufs(sound) for sound in sounds], abs=0.03
    )


def test_silence_and_no_sounds() -> None:
    assert k_weighted_levels_lufs(np.zeros((2, 4800, 2), np.float32), RATE_HZ) == pytest.approx(
        [-200.691] * 2
    )
    assert k_weighted_levels_lufs(np.zeros((0, 4800, 2), np.float32), RATE_HZ).shape == (0,)
