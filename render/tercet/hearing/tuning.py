"""Tuning: how far a recording, and each string in it, lies from A = 440 Hz."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from tercet.hearing.model import StringTuning
from tercet.hearing.spectra import RATE_HZ, FloatArray, Samples, hz_of
from tercet.hearing.wanted import WantedStroke

__all__ = ["overall_cents", "peaks_hz", "string_tunings"]

WINDOW_FRAMES = 8192
HOP_FRAMES = 12_000
MOST_WINDOWS = 200
RANGE_HZ = (200.0, 1_800.0)
LEAST_PART = 0.05
"""Of a window's highest peak; what is lower isn't counted."""


def overall_cents(samples: Samples) -> float:
    """Return how far all strings together are off, −50 to 50 cents: the mean direction of the peaks of long spectra."""
    starts = np.arange(0, max(len(samples) - WINDOW_FRAMES, 1), HOP_FRAMES)
    padded = np.pad(samples, (0, WINDOW_FRAMES))
    windows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW_FRAMES)[starts]
    energy = (windows.astype(np.float64) ** 2).sum(axis=1)
    chosen = windows[energy >= np.percentile(energy, 40)]
    chosen = chosen[:: max(len(chosen) // MOST_WINDOWS, 1)]
    hz, heights = peaks_hz(chosen)
    if not len(hz):
        return 0.0
    cents = 1200.0 * np.log2(hz / 440.0)
    turned = (heights * np.exp(2j * np.pi * cents / 100.0)).sum()
    return float(np.angle(turned) / (2.0 * np.pi) * 100.0)


def peaks_hz(windows: Samples) -> tuple[FloatArray, FloatArray]:
    """Return the frequencies of the peaks of windows (windows, frames), found between bins, and their heights."""
    size = windows.shape[1]
    spectrum = np.abs(np.fft.rfft(windows * np.hanning(size).astype(np.float32), axis=1))
    low, high = (int(hz * size / RATE_HZ) for hz in RANGE_HZ)
    part = spectrum[:, low - 1 : high + 1].astype(np.float64)
    middle = part[:, 1:-1]
    tall = middle > LEAST_PART * middle.max(axis=1, keepdims=True)
    rows, columns = np.nonzero((middle > part[:, :-2]) & (middle > part[:, 2:]) & tall)
    left, top, right = (np.log(part[rows, columns + n] + 1e-12) for n in (0, 1, 2))
    shift = 0.5 * (left - right) / np.minimum(left - 2.0 * top + right, -1e-9)
    return (columns + low + shift) * RATE_HZ / size, middle[rows, columns]


STRING_WINDOW_FRAMES = 8192
SHORTEST_FRAMES = 3600
AFTER_S = 0.06
STRING_PARTIALS = (1, 2, 3)
FURTHEST_CENTS = 70.0
CLEAR_CENTS = 90.0
"""A partial is listened to if none of another string that may still ring lies nearer."""

LEAST_OVER_DB = 12.0
FEWEST_NOTES = 3
RINGING_STROKES = 4


def string_tunings(
    samples: Samples, heard: Sequence[tuple[WantedStroke, FloatArray]]
) -> tuple[StringTuning, ...]:
    """Return how far each string is off, from the partials of its notes that stand clear of others.

    Parameters
    ----------
    samples
        The recording.
    heard
        The strokes that were played as wanted, in order, and when their strings were struck.
    """
    found: dict[int, list[float]] = {}
    for n, (stroke, times_s) in enumerate(heard):
        if stroke.action == "chop":
            continue
        start = int((times_s[-1] + AFTER_S) * RATE_HZ)
        end = start + STRING_WINDOW_FRAMES
        if n + 1 < len(heard):
            end = min(end, int((heard[n + 1][1][0] - 0.01) * RATE_HZ))
        part = samples[start : min(end, len(samples))]
        if len(part) < SHORTEST_FRAMES:
            continue
        spectrum = np.abs(
            np.fft.rfft(part * np.hanning(len(part)).astype(np.float32), 4 * STRING_WINDOW_FRAMES)
        )
        others = [s.midi for before, _ in heard[max(n - RINGING_STROKES, 0) : n] for s in before.strings]
        for string in stroke.strings:
            keys = {*others, *(s.midi for s in stroke.strings)} - {string.midi}
            for cents in _partials_cents(spectrum, string.midi, keys):
                found.setdefault(string.string, []).append(cents)
    return tuple(
        StringTuning(string, *_middle(np.array(found[string])), len(found[string]))
        for string in (4, 3, 2, 1)
        if len(found.get(string, ())) >= FEWEST_NOTES
    )


def _partials_cents(spectrum: FloatArray, midi: int, others: Iterable[int]) -> Iterator[float]:
    size = 4 * STRING_WINDOW_FRAMES
    clear = 2.0 ** (CLEAR_CENTS / 1200.0)
    elsewhere = [hz_of(key) * partial for key in others for partial in range(1, 9)]
    for partial in STRING_PARTIALS:
        hz = hz_of(midi) * partial
        if any(hz / clear < other < hz * clear for other in elsewhere):
            continue
        reach = 2.0 ** (FURTHEST_CENTS / 1200.0)
        low, high = int(hz / reach * size / RATE_HZ), int(np.ceil(hz * reach * size / RATE_HZ))
        place = low + int(spectrum[low : high + 1].argmax())
        around = spectrum[int(hz * 0.9 * size / RATE_HZ) : int(hz * 1.1 * size / RATE_HZ)]
        if place in (low, high) or spectrum[place] < 10.0 ** (LEAST_OVER_DB / 20.0) * np.median(around):
            continue
        left, top, right = np.log(spectrum[place - 1 : place + 2] + 1e-12)
        shift = 0.5 * (left - right) / min(left - 2.0 * top + right, -1e-9)
        yield float(1200.0 * np.log2((place + shift) * RATE_HZ / size / hz))


def _middle(cents: FloatArray) -> tuple[float, float]:
    """Return the median, and how far it may be off."""
    middle = float(np.median(cents))
    spread = 1.48 * float(np.median(np.abs(cents - middle)))
    return middle, 2.0 * spread / float(np.sqrt(len(cents))) + 0.3
