"""How loud: of a whole track, of one gesture, and how high the wave goes between the samples.

Weighting by ITU-R BS.1770-5 through pyloudnorm, whose class ``DeMan`` has the Recommendation's own coefficients (its
default is 0.04 LU off on plucked strings). True peak by scipy's polyphase resampler.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyloudnorm
from numpy.typing import NDArray
from scipy.signal import firwin, lfilter, resample_poly

from tests.measure.audio import Track

__all__ = ["gesture_levels_lufs", "integrated_lufs", "k_weighting", "true_peak_dbtp"]

GESTURE_S = 0.4
OVERSAMPLING = 4
CHUNK_FRAMES, OVERLAP_FRAMES = 24_000, 480
BETWEEN = firwin(20 * OVERSAMPLING + 1, 1.0 / OVERSAMPLING, window=("kaiser", 5.0)) * OVERSAMPLING
"""The filter of `resample_poly`, which draws the wave between the samples."""

MOST_BETWEEN = max(float(np.abs(BETWEEN[first::OVERSAMPLING]).sum()) for first in range(OVERSAMPLING))
"""How many times as high as the highest sample the wave may be, at the very most."""


def k_weighting(rate_hz: int) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return numerator and denominator of the two filters of the K-weighting."""
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    return [(stage.b, stage.a) for stage in meter._filters.values()]


def integrated_lufs(track: Track) -> float:
    """Return the integrated loudness of a track, gated, in LUFS; two meters of the Recommendation agree to 0.1 LU."""
    return float(pyloudnorm.Meter(track.rate_hz, filter_class="DeMan").integrated_loudness(track.samples))


def true_peak_dbtp(track: Track) -> float:
    """Return the highest point of the wave between the samples too, in dB against full scale.

    Four times oversampled, as the Recommendation asks (annex 2): at most 0.2 dB low below 12 kHz, where strings sound.
    The highest chunks are looked at first; where the samples are too low to be passed between, nothing is looked at.
    """
    starts = np.arange(0, track.length_frames, CHUNK_FRAMES)
    highest = np.array([np.abs(track.samples[at : at + CHUNK_FRAMES]).max() for at in starts])
    around = np.maximum(highest, np.maximum(np.append(highest[1:], 0.0), np.append(0.0, highest[:-1])))
    peak = 0.0
    for number in np.argsort(around)[::-1]:
        if around[number] * MOST_BETWEEN <= peak:
            break
        first = max(starts[number] - OVERLAP_FRAMES, 0)
        part = track.samples[first : starts[number] + CHUNK_FRAMES + OVERLAP_FRAMES]
        own = slice(
            (starts[number] - first) * OVERSAMPLING, (starts[number] - first + CHUNK_FRAMES) * OVERSAMPLING
        )
        peak = max(peak, float(np.abs(resample_poly(part, OVERSAMPLING, 1, axis=0)[own]).max()))
    return 20.0 * math.log10(peak) if peak else -math.inf


def gesture_levels_lufs(track: Track, onsets_s: Sequence[float]) -> NDArray[np.float64]:
    """Return for each onset the K-weighted level of the 400 ms from there on, in LUFS.

    A mark of a song is a promise about this figure. The sound of what was struck before is in it too: in a layer alone
    that is under 0.3 dB where gestures are half a second apart and strings are damped.

    Parameters
    ----------
    track
        A layer alone, so that nothing else is measured.
    onsets_s
        When the first string of each gesture is struck; the last 400 ms of the track must not be cut.
    """
    weighted = np.ascontiguousarray(track.samples.T)
    for numerator, denominator in k_weighting(track.rate_hz):
        weighted = lfilter(numerator, denominator, weighted)
    energy = np.concatenate([[0.0], np.cumsum((weighted**2).sum(axis=0))])
    length = round(GESTURE_S * track.rate_hz)
    starts = np.round(np.asarray(onsets_s) * track.rate_hz).astype(int)
    power = (energy[starts + length] - energy[starts]) / length
    return np.asarray(-0.691 + 10.0 * np.log10(np.maximum(power, 1e-20)))
