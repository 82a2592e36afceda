"""Plucked strings for the tests of audio files: a few decaying partials, the same each time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 48_000


def plucks(length_s: float, seed: int = 1, peak: float = 0.5) -> NDArray[np.float32]:
    """Return notes struck about four a second, float32 (frames, 2), a little different left and right."""
    generator = np.random.default_rng(seed)
    length_frames = round(length_s * RATE_HZ)
    sound = np.zeros((length_frames, 2))
    at_s = 0.05
    while at_s < length_s - 0.01:
        start = round(at_s * RATE_HZ)
        t_s = np.arange(min(length_frames - start, RATE_HZ // 2)) / RATE_HZ
        pitch_hz = 440 * 2 ** (generator.integers(-9, 6) / 12)
        note = np.zeros(len(t_s))
        for k in range(1, 9):
            note += (
                np.exp(-t_s * (3 + k)) * np.sin(2 * np.pi * k * pitch_hz * t_s + generator.uniform(0, 6)) / k
            )
        note *= (1 - np.exp(-t_s / 0.0005)) * (1 - t_s / 0.5)
        sound[start : start + len(note)] += np.outer(
            note, generator.uniform(0.4, 1, 2)
        ) * 10 ** generator.uniform(-0.8, 0)
        at_s += float(generator.exponential(0.25))
    sound *= peak / np.abs(sound).max()
    return sound.astype(np.float32)


def sine(
    frequency_hz: float,
    level_dbfs: float,
    length_s: float,
    *,
    rate_hz: int = RATE_HZ,
    phase_degrees: float = 0,
) -> NDArray[np.float32]:
    """Return a sine in both channels; the level is that of its crest against full scale."""
    angle = 2 * np.pi * frequency_hz * np.arange(round(length_s * rate_hz)) / rate_hz
    wave = 10 ** (level_dbfs / 20) * np.sin(angle + np.radians(phase_degrees))
    return np.stack([wave, wave], axis=1).astype(np.float32)


def silence(length_s: float) -> NDArray[np.float32]:
    return np.zeros((round(length_s * RATE_HZ), 2), np.float32)
