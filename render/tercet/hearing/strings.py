"""Strings: when each string of a roll or a strum is struck, within the moment that the stroke takes."""

from __future__ import annotations

import numpy as np

from tercet.hearing.alignment import Alignment
from tercet.hearing.onsets import PluckCurve, pluck_curve
from tercet.hearing.spectra import RATE_HZ, FloatArray, Samples, hz_of, powers_at
from tercet.hearing.wanted import WantedStroke, WantedTake

__all__ = ["string_times_s"]

WINDOW_FRAMES, TRANSFORM = 720, 2048
"""30 ms: short enough to tell two strings of a quick roll apart."""

PARTIALS = (1, 2, 3, 4)
HIGHEST_HZ = 5_000.0
MOST_RISE_DB, LEAST_RISE_DB = 15.0, -3.0
MARGIN_S, MARGIN_SPANS = 0.03, 1.0
"""A roll may be so much slower than wanted, on either side: as long again, and a little."""

ALONE_S = 0.025
AFTER_LAST_S, BEFORE_NEXT_S = 0.04, 0.02
PLUCK_WEIGHT, LATE_WEIGHT, ANCHOR_WEIGHT = 0.5, 0.9, 0.4
NEAR_S, NEAR_TIMES, SCALE_S = 0.02, 1.6, 0.1
"""Strings of one stroke follow each other within `NEAR_TIMES` the wanted delay and `NEAR_S`, or it costs a weight for
each `SCALE_S` more."""

AT_ONCE_S, AT_ONCE_COST = 0.006, 0.5


def string_times_s(
    samples: Samples, alignment: Alignment, wanted: WantedTake, cents: float
) -> list[FloatArray]:
    """Return for each pair when its strings are struck, in the order wanted, in seconds."""
    curve = pluck_curve(samples)
    times = alignment.times_s
    found: list[FloatArray] = []
    for n, pair in enumerate(alignment.pairs):
        stroke = wanted.strokes[pair.stroke]
        from_s = float(found[-1][-1]) + AFTER_LAST_S if found else 0.0
        to_s = float(times[n + 1]) - BEFORE_NEXT_S if n + 1 < len(times) else np.inf
        found.append(_struck(samples, curve, stroke, float(times[n]), (from_s, to_s), cents))
    return found


def _struck(
    samples: Samples,
    curve: PluckCurve,
    stroke: WantedStroke,
    onset_s: float,
    free_s: tuple[float, float],
    cents: float,
) -> FloatArray:
    count = len(stroke.strings)
    if stroke.action == "chop":
        return onset_s + np.array([string.delay_s for string in stroke.strings])
    if count == 1:
        at_s, heights = curve.peaks_s(onset_s - ALONE_S, onset_s + ALONE_S)
        return np.array([at_s[int(heights.argmax())] if len(at_s) else onset_s])
    reach = (1.0 + MARGIN_SPANS) * stroke.span_s + MARGIN_S
    back = MARGIN_S if stroke.action == "strum" else reach
    low, high = max(onset_s - back, free_s[0], 0.0), min(onset_s + reach, free_s[1])
    at_s, heights = curve.peaks_s(low, max(high, low + 0.01))
    delays = np.array([string.delay_s for string in stroke.strings])
    if len(at_s) < count:
        first_s = onset_s if not len(at_s) else min(float(at_s[0]), onset_s)
        return first_s + delays
    rises = _rises(samples, at_s, stroke, cents) + PLUCK_WEIGHT * np.minimum(
        heights / max(float(heights.max()), 0.05), 1.0
    )
    return at_s[_in_order(rises, at_s, onset_s, NEAR_S + NEAR_TIMES * np.diff(delays))]


def _rises(samples: Samples, at_s: FloatArray, stroke: WantedStroke, cents: float) -> FloatArray:
    """Return how much each string's own partials rise at each pluck, (strings, plucks), about 0 to 1."""
    starts = np.round(at_s * RATE_HZ).astype(np.int64)
    after = powers_at(samples, starts + 48, WINDOW_FRAMES, TRANSFORM)
    before = powers_at(samples, starts - 744, WINDOW_FRAMES, TRANSFORM)
    rises = np.empty((len(stroke.strings), len(at_s)))
    for n, string in enumerate(stroke.strings):
        base_hz = hz_of(string.midi, cents)
        risen, fallen = np.full(len(at_s), 1e-9), np.full(len(at_s), 1e-9)
        for partial in PARTIALS:
            if base_hz * partial > HIGHEST_HZ:
                break
            place = round(base_hz * partial * TRANSFORM / RATE_HZ)
            risen += after[:, place - 1 : place + 2].max(axis=1) / partial
            fallen += before[:, place - 1 : place + 2].max(axis=1) / partial
        rises[n] = np.clip(10.0 * np.log10(risen / fallen), LEAST_RISE_DB, MOST_RISE_DB) / MOST_RISE_DB
    return rises


def _in_order(worth: FloatArray, at_s: FloatArray, onset_s: float, near_s: FloatArray) -> list[int]:
    """Return the best pluck for each string, each later than the one before."""
    strings, plucks = worth.shape
    best = np.full((strings, plucks), -np.inf)
    came = np.zeros((strings, plucks), np.int64)
    best[0] = worth[0]
    for n in range(1, strings):
        for k in range(n, plucks):
            gaps = at_s[k] - at_s[:k]
            late = LATE_WEIGHT * np.maximum(gaps - near_s[n - 1], 0.0) / SCALE_S
            values = best[n - 1, :k] - late - AT_ONCE_COST * (gaps < AT_ONCE_S)
            came[n, k] = int(values.argmax())
            best[n, k] = values[came[n, k]] + worth[n, k]
    place = int((best[-1] - ANCHOR_WEIGHT * np.abs(at_s - onset_s) / SCALE_S).argmax())
    chosen = [place]
    for n in range(strings - 1, 0, -1):
        place = int(came[n, place])
        chosen.append(place)
    return chosen[::-1]
