"""K-weighted levels of many short sounds at once, against an independent meter."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from tercet.sound.k_weighting import (
    LOUDNESS_OFFSET_DB,
    KWeightedEnergies,
    k_weighted_energies,
    k_weighted_levels_lufs,
)
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


def walk(frames: int) -> NDArray[np.float32]:
    """Return a random walk (frames, 2): nearly all of its power lies far below what is heard."""
    steps = np.random.default_rng(frames).standard_normal((frames, 2))
    return (0.01 * np.cumsum(steps, axis=0)).astype(np.float32)


def energies_in_time(sound: NDArray[np.float32], step_frames: int) -> NDArray[np.float64]:
    """Return the energies of steps by filtering in time in double precision."""
    weighted = sound.astype(np.float64)
    for stage in pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")._filters.values():
        weighted = lfilter(stage.b, stage.a, weighted, axis=0)
    power = (weighted**2).sum(axis=1)
    return np.add.reduceat(power, np.arange(0, len(power), step_frames))


@pytest.mark.parametrize("step_frames", [4800, 4799, 4410, 97, 7, 1])
def test_energies_are_those_of_a_filter_in_time_even_below_what_is_heard(step_frames: int) -> None:
    sound = walk(40 * step_frames + 1)
    found = k_weighted_energies(sound, RATE_HZ, step_frames)
    assert found.shape == (41,)
    assert found == pytest.approx(energies_in_time(sound, step_frames), rel=1e-4, abs=1e-12)


@pytest.mark.parametrize("steps", [1, 3, 16, 50])
def test_audio_in_pieces_has_the_energies_of_the_whole(steps: int) -> None:
    sound = walk(100 * 4800 + 17)
    energies = KWeightedEnergies(RATE_HZ, 4800, 2)
    pieces = [
        energies.of(sound[first : first + steps * 4800]) for first in range(0, len(sound), steps * 4800)
    ]
    assert np.concatenate(pieces) == pytest.approx(k_weighted_energies(sound, RATE_HZ, 4800), rel=1e-6)
