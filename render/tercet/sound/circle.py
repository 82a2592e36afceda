"""A circle outside the unit circle, on which transfer functions become samples without iterating.

A linear system that starts at rest is known by its Laplace transform. Sampled on a circle of radius r > 1 in the
z-plane and transformed back by one FFT, it gives the system's response times r^−t; multiplying by r^t gives the
response itself.
What still sounds after the last frame folds back onto the first, but `FOLDED_DB` weaker, because r is chosen so. Hence
delays need not be whole frames, and any smooth loss and dispersion is exact. Sources: L. R. Rabiner, R. W. Schafer and
C. M. Rader, "The Chirp z-Transform Algorithm", Bell System Technical Journal 48 (1969), on contours other than the unit
circle; C. F. Chen, "Numerical inversion of Laplace transforms by FFT" (damped Fourier series).

The functions must be analytic (no absolute values, no corners): what isn't rings before its beginning, and that is
folded onto the end and raised by `FOLDED_DB` there. The last `SPARE_FRAMES` are dropped for the same reason.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FOLDED_DB", "SPARE_FRAMES", "Circle", "circle_of"]

FOLDED_DB = 60.0
"""How much weaker what sounds on after the end is folded onto the start; strings are 50 dB down by then anyway."""

FALLS_FROM_HZ, HIGHEST_HZ = 11_000.0, 16_000.0
"""Nothing that is plucked or struck here is heard above the second; those points are left out. From the first on, what
there is sinks to nothing by half a cosine, for an edge would ring on and on."""

SPARE_FRAMES = 256
"""Frames at the end that are computed and dropped."""


@dataclass(frozen=True, slots=True)
class Circle:
    """Points of a circle for one length and rate.

    Parameters
    ----------
    rate_hz
        Frames a second.
    frames
        Length of the transform; `SPARE_FRAMES` more than the samples it gives.
    s
        The points as Laplace variables in 1/s, complex (points,): from 0 Hz to half the rate or `HIGHEST_HZ`.
    weight
        1 up to `FALLS_FROM_HZ`, then sinking to 0, (points,).
    growth
        r^t for each frame, (frames,).
    """

    rate_hz: int
    frames: int
    s: NDArray[np.complex128]
    weight: NDArray[np.float64]
    growth: NDArray[np.float64]

    def samples(self, transform: NDArray[np.complex128]) -> NDArray[np.float64]:
        """Return the samples (frames − `SPARE_FRAMES`,) whose Laplace transform at `s` is given.

        A unit impulse, whose transform is 1, becomes one sample of height 1.
        """
        sound = np.fft.irfft(transform * self.weight, self.frames) * self.growth
        return sound[:-SPARE_FRAMES]


@functools.lru_cache(maxsize=32)
def circle_of(frames: int, rate_hz: int) -> Circle:
    """Return the circle that gives a number of samples; remembered, because notes of one length share it."""
    size = _quick_size(frames + SPARE_FRAMES)
    sigma = FOLDED_DB / 20.0 * math.log(10.0) / size
    points = min(size // 2, int(size * HIGHEST_HZ / rate_hz)) + 1
    s = np.asarray((sigma + 2j * np.pi * np.arange(points) / size) * rate_hz, np.complex128)
    fall = np.clip((s.imag / (2.0 * np.pi) - FALLS_FROM_HZ) / (HIGHEST_HZ - FALLS_FROM_HZ), 0.0, 1.0)
    weight = 0.5 + 0.5 * np.cos(np.pi * fall)
    growth = np.exp(sigma * np.arange(size))
    for array in (s, weight, growth):
        array.flags.writeable = False
    return Circle(rate_hz, size, s, weight, growth)


def _quick_size(frames: int) -> int:
    """Return the next even length that is a multiple of a large power of two, quick to transform."""
    step = 1 << max((frames // 16).bit_length() - 1, 1)
    return -(-frames // step) * step
