"""When plucked strings are struck, heard from the audio alone.

A plain detector. Over 3 kHz a string sounds for a moment only: what rang before is gone, what is struck now stands out.
So the audio is band-passed to 3–12 kHz and its height followed; an onset is where the highest of the next 12 ms is at
least 12 dB above that of the last 12 ms. It is placed where the height first reaches a quarter of its peak.
Made for one string, or one layer whose notes come one by one; the strings of a roll, 20 ms apart, it tells apart too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, find_peaks, sosfiltfilt

from tests.measure.audio import Track

__all__ = ["OnsetFigures", "onset_figures", "onsets_s"]

BAND_HZ = (3_000.0, 12_000.0)
LOOK_S = 0.012
RISE_RATIO = 4.0
HEARD_PART = 0.25
FLOOR_DB = -60.0
"""Below the loudest onset by this much, nothing counts."""

MATCH_S = 0.025


def onsets_s(track: Track) -> NDArray[np.float64]:
    """Return when something is struck, in seconds; on plucked strings of several sound fonts to within 1 ms."""
    band = butter(4, BAND_HZ, "bandpass", fs=track.rate_hz, output="sos")
    height = np.abs(sosfiltfilt(band, track.samples.mean(axis=1)))
    half = round(LOOK_S * track.rate_hz / 2)
    look = 2 * half + 1
    highest = maximum_filter1d(np.pad(height, look), look, mode="constant")
    before = highest[half:][: len(height)]
    after = highest[half + look :][: len(height)]
    floor = max(float(height.max(initial=0.0)) * 10.0 ** (FLOOR_DB / 20.0), 1e-12)
    rise = np.where(after > floor, after / np.maximum(before, floor / RISE_RATIO), 0.0)
    places, _ = find_peaks(np.minimum(rise, 1e9), height=RISE_RATIO, distance=look, plateau_size=1)
    found = []
    for place in places:
        ahead = height[place : place + look]
        found.append((place + int(np.argmax(ahead >= HEARD_PART * ahead.max()))) / track.rate_hz)
    return np.array(found)


@dataclass(frozen=True, slots=True)
class OnsetFigures:
    """How the onsets that are heard agree with those that are written.

    Parameters
    ----------
    late_s
        For each written onset that is heard how late it is, in seconds.
    unheard_s
        Written onsets without a sound within 25 ms.
    unwritten_s
        Sounds without a written onset.
    """

    late_s: NDArray[np.float64]
    unheard_s: tuple[float, ...]
    unwritten_s: tuple[float, ...]


def onset_figures(heard_s: Sequence[float] | NDArray[np.float64], written_s: Sequence[float]) -> OnsetFigures:
    """Give each written onset the nearest one heard."""
    heard, written = np.asarray(heard_s), np.asarray(sorted(written_s))
    free = np.ones(len(heard), bool)
    late, unheard = [], []
    for due_s in written:
        distance = np.where(free, np.abs(heard - due_s), np.inf)
        nearest = int(np.argmin(distance)) if len(heard) else 0
        if len(heard) and distance[nearest] <= MATCH_S:
            free[nearest] = False
            late.append(heard[nearest] - due_s)
        else:
            unheard.append(float(due_s))
    return OnsetFigures(np.array(late), tuple(unheard), tuple(heard[free].tolist()))
