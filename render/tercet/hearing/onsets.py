"""Onsets: where something is struck, from what is new in the spectrum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tercet.hearing.blocks import band_passed
from tercet.hearing.spectra import RATE_HZ, FloatArray, Samples, bands, loudest_near, powers_by_band

__all__ = ["Onsets", "PluckCurve", "find_onsets", "pluck_curve"]

STEP_FRAMES, WINDOW_FRAMES = 120, 512
"""5 ms, and 21 ms."""

LAG_STEPS = 3
"""What is new is told against 15 ms before."""

BANDS = 40
BAND_RANGE_HZ = (150.0, 9_000.0)
FLOOR_TIMES = 3.0
"""What lies no more than this above the steady noise counts for little."""

RANGE_DB = 48.0
"""What lies further below the loudest counts for little."""

MEDIAN_STEPS, PEAK_STEPS = 30, 3
LEAST_PEAK = 0.02
LEAST_PART = 0.03
"""Of the strongest ones: what is weaker is a partial that wavers."""

MEDIANS_A_PEAK = 4.0
APART_S = 0.05
STRONGER = 2.5
"""Of peaks nearer than `APART_S` the first counts, unless the next is so much stronger."""


@dataclass(frozen=True, slots=True)
class Onsets:
    """Where something is struck, in seconds, and how much was new there."""

    times_s: FloatArray
    strengths: FloatArray

    def strongest(self, most: int) -> Onsets:
        """Return the strongest of them, in order."""
        if len(self.times_s) <= most:
            return self
        kept = np.sort(np.argsort(-self.strengths)[:most])
        return Onsets(self.times_s[kept], self.strengths[kept])


def find_onsets(samples: Samples) -> Onsets:
    """Return the onsets of a sound, by spectral novelty.

    The rise of each band's logarithm over 15 ms, against the largest of its neighbours before, so that a tone that
    wavers isn't taken for a new one (S. Böck, G. Widmer, "Maximum filter vibrato suppression for onset detection",
    DAFx 2013).
    """
    matrix = bands(WINDOW_FRAMES, np.geomspace(*BAND_RANGE_HZ, BANDS + 1))
    powers = powers_by_band(samples, WINDOW_FRAMES, STEP_FRAMES, matrix)
    means = powers[: len(powers) // 8 * 8].reshape(-1, 8, powers.shape[1]).mean(axis=1)
    quiet = FLOOR_TIMES * np.percentile(means, 10, axis=0)
    floor = np.maximum(quiet, np.percentile(powers[::7], 97, axis=0) * 10.0 ** (-RANGE_DB / 10.0)) + 1e-12
    heights = np.log10(1.0 + powers / floor)
    before = loudest_near(np.asarray(heights, np.float64), 1)
    rise = np.maximum(heights[LAG_STEPS:] - before[:-LAG_STEPS], 0.0).mean(axis=1)
    novelty = np.concatenate([np.zeros(2), rise, np.zeros(1)])[: len(heights)]
    return _peaks(novelty)


def _peaks(novelty: FloatArray) -> Onsets:
    over = novelty - _running_median(novelty, MEDIAN_STEPS)
    least = max(LEAST_PEAK, MEDIANS_A_PEAK * float(np.median(np.abs(over))))
    found = np.flatnonzero((novelty == loudest_near(novelty, PEAK_STEPS)) & (over > least))
    kept: list[int] = []
    for place in found.tolist():
        if kept and (place - kept[-1]) * STEP_FRAMES < APART_S * RATE_HZ:
            if novelty[place] > STRONGER * novelty[kept[-1]]:
                kept[-1] = place
            continue
        kept.append(place)
    at = np.array(kept, np.int64)
    if len(at):
        at = at[over[at] > LEAST_PART * np.percentile(over[at], 95)]
    return Onsets(np.asarray(at * (STEP_FRAMES / RATE_HZ), np.float64), over[at])


def _running_median(values: FloatArray, reach: int) -> FloatArray:
    padded = np.pad(values, reach, mode="edge")
    view = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.concatenate([np.median(view[n : n + 8192], axis=1) for n in range(0, len(view), 8192)])


@dataclass(frozen=True, slots=True)
class PluckCurve:
    """What is new in the treble, a value every millisecond: each finger or thumb on a string is a click of its own."""

    novelty: FloatArray

    def peaks_s(self, from_s: float, to_s: float, most: int = 14) -> tuple[FloatArray, FloatArray]:
        """Return the times of the highest peaks between two times, in order, and how high they are."""
        first = max(int(from_s * 1000.0), 0)
        part = self.novelty[first : max(int(to_s * 1000.0), first + 3)]
        found = np.flatnonzero((part == loudest_near(part, 4)) & (part > LEAST_PEAK))
        if len(found) > most:
            found = np.sort(found[np.argsort(-part[found])[:most]])
        return (found + first) / 1000.0, part[found]


TREBLE_HZ = (2_200.0, 8_000.0)
SMOOTH_MS = 4
PLUCK_LAG_MS = 6


def pluck_curve(samples: Samples) -> PluckCurve:
    """Return the novelty of the treble."""
    treble = band_passed(samples, RATE_HZ, *TREBLE_HZ)
    step = RATE_HZ // 1000
    count = len(treble) // step
    energy = (treble[: count * step].reshape(count, step) ** 2).sum(axis=1, dtype=np.float64)
    energy = np.convolve(energy, np.full(SMOOTH_MS, 1.0 / SMOOTH_MS), "same")
    floor = 3.0 * np.percentile(energy, 20) + 1e-6 * energy.max() + 1e-20
    heights = np.log10(1.0 + energy / floor)
    rise = np.maximum(heights[PLUCK_LAG_MS:] - loudest_near(heights, 2)[:-PLUCK_LAG_MS], 0.0)
    return PluckCurve(np.concatenate([np.zeros(4), rise, np.zeros(2)]))
