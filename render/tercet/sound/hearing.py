"""How loud and how bright a note is: the two figures that front and back are made of.

Loudness is the K-weighted level of the first 400 ms (ITU-R BS.1770-5, annex 1; the weighting's filters stand in
`k_weighting.py`). Brightness is the centroid of the power spectrum over the same time, in Hz.
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from tercet.sound.k_weighting import GESTURE_S, LOUDNESS_OFFSET_DB, k_weighting_response

__all__ = ["centroid_hz", "k_gain", "k_weighted_level_db"]

QUIETEST_POWER = 1e-20


@functools.lru_cache(maxsize=16)
def k_gain(size: int, rate_hz: int) -> NDArray[np.float64]:
    """Return the power gain of the K-weighting at the bins of a real FFT of `size`, (size // 2 + 1,); read-only."""
    gain: NDArray[np.float64] = np.abs(k_weighting_response(rate_hz, size)) ** 2
    gain.flags.writeable = False
    return gain


def k_weighted_level_db(mono: NDArray[np.floating], rate_hz: int) -> float:
    """Return the K-weighted level of the first `GESTURE_S` of a sound (frames,), in LUFS for one channel."""
    frames = round(GESTURE_S * rate_hz)
    size = 2 * frames
    power = np.abs(np.fft.rfft(mono[:frames], size)) ** 2 * k_gain(size, rate_hz)
    mean = 2.0 * float(power.sum()) / size / frames
    return float(LOUDNESS_OFFSET_DB + 10.0 * np.log10(max(mean, QUIETEST_POWER)))


def centroid_hz(mono: NDArray[np.floating], rate_hz: int) -> float:
    """Return the centroid of the power spectrum of the first `GESTURE_S` of a sound (frames,); 0 for silence."""
    frames = round(GESTURE_S * rate_hz)
    power = np.abs(np.fft.rfft(mono[:frames])) ** 2
    total = float(power.sum())
    bins_hz = np.fft.rfftfreq(min(len(mono), frames), 1.0 / rate_hz)
    return float((bins_hz * power).sum() / total) if total > 0.0 else 0.0
