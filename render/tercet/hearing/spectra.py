"""Spectra: frames of a sound, their powers, and the axis of pitches on which strokes are compared."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BINS_AN_OCTAVE",
    "RATE_HZ",
    "FloatArray",
    "Samples",
    "axis_hz",
    "bands",
    "hz_of",
    "loudest_near",
    "powers_at",
    "powers_by_band",
    "to_axis",
]

FloatArray = NDArray[np.float64]
Samples = NDArray[np.float32]

RATE_HZ = 24_000
"""Rate at which recordings are heard: all that tells strokes apart lies below 12 kHz."""

LOWEST_HZ, HIGHEST_HZ = 120.0, 5_000.0
"""From below the lowest string of a baritone (147 Hz) to the upper partials of the highest."""

BINS_AN_OCTAVE = 36
"""Three to a semitone."""

FRAMES_AT_ONCE = 512
"""So few that their spectra stay in the processor's cache."""


def hz_of(midi: float, cents: float = 0.0) -> float:
    """Return the frequency of a MIDI key, some cents off."""
    return float(440.0 * 2.0 ** ((midi - 69.0 + cents / 100.0) / 12.0))


@cache
def axis_hz() -> FloatArray:
    """Return the frequencies of the axis of pitches, evenly spaced in octaves; treat as read-only."""
    count = int(np.log2(HIGHEST_HZ / LOWEST_HZ) * BINS_AN_OCTAVE)
    return np.asarray(LOWEST_HZ * 2.0 ** (np.arange(count) / BINS_AN_OCTAVE))


@cache
def to_axis(size: int) -> NDArray[np.float32]:
    """Return the matrix (bins, axis) that takes a spectrum of a transform of `size` to the axis of pitches."""
    hz = np.fft.rfftfreq(size, 1.0 / RATE_HZ)[:, None]
    centre = axis_hz()[None]
    width = np.maximum(centre * (2.0 ** (1.0 / BINS_AN_OCTAVE) - 1.0), RATE_HZ / size)
    weights = np.maximum(1.0 - np.abs(hz - centre) / width, 0.0)
    return np.asarray(weights / weights.sum(axis=0), np.float32)


def bands(size: int, edges_hz: FloatArray, weights: FloatArray | float = 1.0) -> NDArray[np.float32]:
    """Return the matrix (bins, bands) that adds up a power spectrum between edges, weighted bin by bin."""
    hz = np.fft.rfftfreq(size, 1.0 / RATE_HZ)
    within = (hz[:, None] >= edges_hz[None, :-1]) & (hz[:, None] < edges_hz[None, 1:])
    weighted = within * np.broadcast_to(np.atleast_1d(weights), hz.shape)[:, None]
    return np.asarray(weighted[:, within.any(axis=0)], np.float32)


def powers_by_band(samples: Samples, size: int, hop: int, matrix: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the powers (frames, bands) of windows `size` long every `hop` frames; window n is centred on n · hop."""
    return np.concatenate([each @ matrix for each in _powers(samples, size, hop)])


def _powers(samples: Samples, size: int, hop: int) -> Iterator[NDArray[np.float32]]:
    padded = np.pad(samples, (size // 2, size))
    count = len(samples) // hop + 1
    view = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop][:count]
    window = np.hanning(size).astype(np.float32)
    for first in range(0, count, FRAMES_AT_ONCE):
        turned = np.fft.rfft(view[first : first + FRAMES_AT_ONCE] * window, axis=1)
        yield (turned.real**2 + turned.imag**2).astype(np.float32)


def powers_at(samples: Samples, starts: NDArray[np.int64], size: int, length: int) -> FloatArray:
    """Return the powers (starts, bins) of windows `size` long that begin at given frames, silence outside the sound.

    `length` is that of the transform.
    """
    view = np.zeros((len(starts), size), np.float32)
    for row, start in zip(view, starts.tolist(), strict=True):
        first, last = max(start, 0), min(start + size, len(samples))
        if first < last:
            row[first - start : last - start] = samples[first:last]
    turned = np.fft.rfft(view * np.hanning(size).astype(np.float32), length, axis=1)
    return np.asarray(turned.real.astype(np.float64) ** 2 + turned.imag.astype(np.float64) ** 2)


def loudest_near(values: FloatArray, reach: int) -> FloatArray:
    """Return for each place of the last axis the largest value within `reach` places on either side."""
    widths = [(0, 0)] * (values.ndim - 1) + [(reach, reach)]
    padded = np.pad(values, widths, mode="edge")
    length = values.shape[-1]
    found = padded[..., :length]
    for shift in range(1, 2 * reach + 1):
        found = np.maximum(found, padded[..., shift : shift + length])
    return found
