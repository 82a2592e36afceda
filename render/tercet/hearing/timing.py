"""Timing: how late each stroke was by the tempo around it, the tempo of each bar, where the music stood still."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tercet.hearing.model import BarTempo, Pause, Repeat
from tercet.hearing.spectra import FloatArray
from tercet.hearing.wanted import WantedTake

__all__ = ["OFF_S", "PAUSE_S", "bar_tempi", "lateness_s", "overall_slope", "pauses", "repeats", "runs_of"]

OFF_S = 0.1
"""A stroke that is further off the pulse than this is late or early."""

PAUSE_S = 1.2
"""The music stands still where a stroke comes so much later than its neighbours' tempo asks."""

REACH = 6
"""Strokes on either side that tell the tempo around one."""


def runs_of(
    strokes: Sequence[int], times_s: FloatArray, tempo: FloatArray, wanted: WantedTake
) -> list[range]:
    """Return runs of pairs that go on without a jump or a pause."""
    cuts = [0]
    for n, (before, after) in enumerate(pairwise(strokes), 1):
        due_s = (wanted.onsets_s[after] - wanted.onsets_s[before]) * tempo[after]
        stood = times_s[n] - times_s[n - 1] - due_s
        if not 0 < after - before <= 4 or stood > PAUSE_S:
            cuts.append(n)
    return [range(first, last) for first, last in pairwise([*cuts, len(strokes)])]


def lateness_s(
    strokes: Sequence[int], times_s: FloatArray, runs: Sequence[range], wanted: WantedTake
) -> FloatArray:
    """Return how late each stroke is by a straight line through its neighbours, itself left out; 0 where too few tell.

    The line is the median of the slopes between them, and the median of what is left (Theil and Sen). Where the tempo
    bends, as towards an end, a stroke lies between its two neighbours all the same: what counts is the less of both.
    """
    late = np.zeros(len(strokes))
    due = wanted.onsets_s[np.array(strokes, np.int64)]
    for run in runs:
        for n in run:
            near = [k for k in range(max(n - REACH, run.start), min(n + REACH + 1, run.stop)) if k != n]
            if len(near) < 4:
                continue
            slope, offset = _line(due[near], times_s[near])
            by_line = times_s[n] - (offset + slope * due[n])
            if run.start < n < run.stop - 1:
                share = (due[n] - due[n - 1]) / max(due[n + 1] - due[n - 1], 1e-6)
                by_both = times_s[n] - (times_s[n - 1] + share * (times_s[n + 1] - times_s[n - 1]))
                late[n] = min(by_line, by_both, key=abs) if by_line * by_both > 0.0 else 0.0
    return late


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    first, second = np.triu_indices(len(x), 1)
    across = x[second] - x[first]
    usable = across > 1e-6
    if not usable.any():
        return 1.0, float(np.median(y - x))
    slopes = (y[second] - y[first])[usable] / across[usable]
    weights = across[usable]
    order = np.argsort(slopes)
    halves = np.cumsum(weights[order])
    slope = float(slopes[order][np.searchsorted(halves, 0.5 * halves[-1])])
    return slope, float(np.median(y - slope * x))


def overall_slope(
    strokes: Sequence[int], times_s: FloatArray, runs: Sequence[range], wanted: WantedTake
) -> float:
    """Return the seconds of the recording to one of the wanted take: the median of its bars' slopes."""
    slopes = [slope for _, _, slope in _bar_slopes(strokes, times_s, runs, wanted)]
    return float(np.median(slopes)) if slopes else 1.0


def bar_tempi(
    strokes: Sequence[int], times_s: FloatArray, runs: Sequence[range], wanted: WantedTake
) -> tuple[BarTempo, ...]:
    """Return the tempo of each bar that was heard from its start to that of the next, in the order played."""
    usual = overall_slope(strokes, times_s, runs, wanted)
    return tuple(
        BarTempo(number, start_s, 60.0 / (wanted.pulse_s * slope), usual / slope)
        for number, start_s, slope in _bar_slopes(strokes, times_s, runs, wanted)
    )


def _bar_slopes(
    strokes: Sequence[int], times_s: FloatArray, runs: Sequence[range], wanted: WantedTake
) -> list[tuple[int, float, float]]:
    found = []
    for run in runs:
        firsts = [
            n
            for n in run
            if n == run.start or wanted.bar_numbers[strokes[n]] != wanted.bar_numbers[strokes[n - 1]]
        ]
        for first, after in pairwise([*firsts, run.stop - 1]):
            x, y = wanted.onsets_s[list(strokes[first : after + 1])], times_s[first : after + 1]
            if x[-1] - x[0] > 0.5 * wanted.pulse_s:
                slope, _ = _line(x, y)
                if slope > 0.0:
                    found.append((int(wanted.bar_numbers[strokes[first]]), float(times_s[first]), slope))
    return found


def pauses(
    strokes: Sequence[int], times_s: FloatArray, tempo: FloatArray, wanted: WantedTake
) -> tuple[Pause, ...]:
    """Return where the music stood still while it went on with the next stroke, or went back."""
    found = []
    for n, (before, after) in enumerate(pairwise(strokes), 1):
        passed = wanted.onsets_s[after] - wanted.onsets_s[before]
        if not 0 < after - before <= 4:
            ahead = min(before + 1, len(wanted.onsets_s) - 1)
            passed = max(wanted.onsets_s[ahead] - wanted.onsets_s[before], 2.0 * wanted.pulse_s)
        due_s = passed * min(tempo[before], tempo[after])
        stood_s = float(times_s[n] - times_s[n - 1] - due_s)
        if stood_s > PAUSE_S:
            found.append(Pause(int(wanted.bar_numbers[after]), float(times_s[n - 1] + due_s), stood_s))
    return tuple(found)


def repeats(strokes: Sequence[int], times_s: FloatArray, wanted: WantedTake) -> tuple[Repeat, ...]:
    """Return where the student went to another bar than the next."""
    return tuple(
        Repeat(int(wanted.bar_numbers[before]), int(wanted.bar_numbers[after]), float(times_s[n]))
        for n, (before, after) in enumerate(pairwise(strokes), 1)
        if not 0 < after - before <= 4
    )
