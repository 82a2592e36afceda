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
from scipy.signal import butter, find_peaks, hilbert, sosfiltfilt

from tests.measure.audio import Track

__all__ = ["OnsetFigures", "onset_figures", "onsets_s", "string_late_s"]

BAND_HZ = (3_000.0, 12_000.0)
LOOK_S = 0.012
RISE_RATIO = 4.0
HEARD_PART = 0.25
FLOOR_DB = -60.0
"""Below the loudest onset by this much, nothing counts."""

MATCH_S = 0.025

SEARCH_S = 0.014
"""A string of a roll is looked for this far from where it is written: the next one is no nearer than 15 ms."""

STROKE_S = (-0.008, 0.020)
"""The part of a stroke, around its onset, by which it is known again. Some silence is in it: by its ringing alone a
string looks the same some of its periods later."""


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


def string_late_s(track: Track, due_s: Sequence[float], alone: Track) -> NDArray[np.float64]:
    """Return how late a string is struck among others, for each time that it is due, in seconds.

    The strings of a roll run into each other. So the stroke of the string alone, over 3 kHz, is laid along the track,
    and it is struck where the two are most alike, whatever a room has done to the phase.

    Parameters
    ----------
    track
        What is measured.
    due_s
        When the string is due; it is looked for within `SEARCH_S`.
    alone
        The same key of the same sound alone, after at least `SEARCH_S` of silence.
    """
    rate_hz = track.rate_hz
    band = butter(4, BAND_HZ, "bandpass", fs=rate_hz, output="sos")
    heard = sosfiltfilt(band, track.samples.mean(axis=1))
    onset = round(float(onsets_s(alone)[0]) * rate_hz)
    before, after = (round(part_s * rate_hz) for part_s in STROKE_S)
    stroke = hilbert(sosfiltfilt(band, alone.samples.mean(axis=1)))[onset + before : onset + after]
    reach = round(SEARCH_S * rate_hz)
    late = []
    for due in (round(each_s * rate_hz) for each_s in due_s):
        part = heard[due + before - reach : due + after + reach]
        alike = np.abs(np.correlate(part, stroke, "valid"))
        power = np.convolve(part**2, np.ones(len(stroke)), "valid")
        late.append((int(np.argmax(alike / np.sqrt(np.maximum(power, 1e-20)))) - reach) / rate_hz)
    return np.array(late)


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
