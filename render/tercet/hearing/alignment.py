"""Alignment: which onset is which wanted stroke, as the shortest path through pairs of both.

A step goes on to one of the next strokes at one of the next onsets. It costs as much as its tempo is unlike the tempo
thereabouts, and something for each stroke and each onset that is passed over. A jump goes to the start of any bar.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.hearing.onsets import Onsets
from tercet.hearing.spectra import FloatArray
from tercet.hearing.wanted import WantedTake

__all__ = ["Alignment", "Pair", "align", "local_tempo"]

SKIPPED_ONSET, SKIPPED_STROKE = 0.5, 1.1
"""What it costs to pass over an onset of usual strength, and a stroke."""

JUMP, FURTHER_JUMP = 5.0, 0.5
"""What a jump costs: the first, and the second for each doubling of how many bars it goes, so that of bars with the
same music the nearest is taken."""

FURTHEST_ONSETS, FURTHEST_STROKES, FURTHEST_S = 12, 4, 5.0
JUMP_ONSETS = 4
TEMPO_WEIGHT = 1.6
"""Of the squared logarithm of a step's tempo over that thereabouts."""

FIRST_GUESS = (1.0, 1.5)
KNOWN_TEMPO = (3.0, 2.2)
"""How much a step's tempo counts before and after the student's tempo is known, and the most that it costs."""

OUTSIDE, MOST_OUTSIDE = 0.5, 6.0
"""Strokes before the start and after the end cost so much less, and in all no more: a take begins and ends anywhere."""

FAINTEST_S = 0.02
STRENGTH_WEIGHT = 0.7
USUAL_PART = 0.5
"""A stroke of usual strength, as a part of the strongest ones: however many of the onsets are none."""

TEMPI = (0.5, 0.7, 1.0, 1.4, 2.0)
"""Parts of the song's tempo that are tried first."""

TRIED_ONSETS = 140


@dataclass(frozen=True, slots=True)
class Pair:
    """An onset and the stroke it is, by their places; `jumped` where it isn't one of the strokes after the last."""

    onset: int
    stroke: int
    jumped: bool = False


@dataclass(frozen=True)
class Alignment:
    """Which onset is which stroke, in the order heard.

    Parameters
    ----------
    onsets
        All that were found.
    pairs
        In order.
    tempo
        Seconds of the recording to a second of the wanted take, at each stroke.
    fit
        How well each onset fits each stroke, (onsets, strokes): 0 as well as a stroke of the piece in general, 1 as
        well as the best.
    cosines
        The same as angles between what newly sounds and the template, 0 to 1.
    """

    onsets: Onsets
    pairs: tuple[Pair, ...]
    tempo: FloatArray
    fit: FloatArray
    cosines: FloatArray

    @property
    def times_s(self) -> FloatArray:
        """When each pair's onset is."""
        return self.onsets.times_s[[pair.onset for pair in self.pairs]]

    @property
    def strokes(self) -> NDArray[np.int64]:
        """Each pair's stroke."""
        return np.array([pair.stroke for pair in self.pairs], np.int64)


def align(onsets: Onsets, cosines: FloatArray, wanted: WantedTake, *, jump_cost: float = JUMP) -> Alignment:
    """Return the alignment of onsets with strokes.

    Parameters
    ----------
    onsets
        At least one.
    cosines
        How well each onset fits each stroke, (onsets, strokes).
    wanted
        The strokes.
    jump_cost
        What a jump to the start of a bar costs.
    """
    fit = _fit(cosines)
    first = min(len(onsets.times_s), TRIED_ONSETS)
    some = Onsets(onsets.times_s[:first], onsets.strengths[:first])
    begun = [
        _path(some, fit[:first], wanted, np.full(len(wanted.strokes), 1.0 / part), FIRST_GUESS, jump_cost)
        for part in TEMPI
    ]
    part = TEMPI[int(np.argmax([score for _, score in begun]))]
    tempo = np.full(len(wanted.strokes), 1.0 / part)
    pairs, _ = _path(onsets, fit, wanted, tempo, FIRST_GUESS, jump_cost)
    for width in (9, 5):
        tempo = local_tempo(wanted, pairs, onsets.times_s, width)
        pairs, _ = _path(onsets, fit, wanted, tempo, KNOWN_TEMPO, jump_cost)
    pairs = _filled(pairs, onsets, cosines, wanted, tempo)
    return Alignment(onsets, tuple(pairs), local_tempo(wanted, pairs, onsets.times_s, 5), fit, cosines)


def _fit(cosines: FloatArray) -> FloatArray:
    usual = np.median(cosines, axis=1, keepdims=True)
    spread = max(float(np.percentile(cosines, 97) - np.median(cosines)), 1e-6)
    return np.asarray(np.clip((cosines - usual) / spread, -1.0, 1.5))


def _path(
    onsets: Onsets,
    fit: FloatArray,
    wanted: WantedTake,
    tempo: FloatArray,
    counts: tuple[float, float],
    jump_cost: float,
) -> tuple[list[Pair], float]:
    """Return the best path and what it is worth."""
    times, (many, strokes) = onsets.times_s, fit.shape
    usual = USUAL_PART * float(np.percentile(onsets.strengths, 95)) + 1e-12
    strength = onsets.strengths / (0.2 * usual)
    gain = fit + np.clip(STRENGTH_WEIGHT * np.log10(strength + 1e-12), -1.0, 0.2)[:, None]
    passed = np.concatenate([[0.0], np.cumsum(SKIPPED_ONSET * np.minimum(onsets.strengths / usual, 2.0))])
    due = [
        np.log(np.maximum((wanted.onsets_s[step:] - wanted.onsets_s[:-step]) * tempo[step:], FAINTEST_S))
        for step in range(1, min(FURTHEST_STROKES, strokes - 1) + 1)
    ]
    starts = np.flatnonzero(wanted.begins_bar)
    jump_costs = jump_cost + FURTHER_JUMP * np.log2(
        1.0 + np.abs(wanted.bar_numbers[:, None] - wanted.bar_numbers[starts])
    )
    before_start = OUTSIDE * np.minimum(np.arange(strokes) * SKIPPED_STROKE, MOST_OUTSIDE)
    best = np.full((many, strokes), -np.inf)
    came = np.full((many, strokes), -1, np.int64)
    jumped = np.zeros((many, strokes), bool)
    tops, top_strokes = np.full(many, -np.inf), np.zeros(many, np.int64)
    for k in range(many):
        now, source = -0.3 * passed[k] - before_start, came[k]
        first = max(0, k - FURTHEST_ONSETS, int(np.searchsorted(times, times[k] - FURTHEST_S)))
        first = min(first, max(k - 1, 0))
        if k:
            waits = np.log(np.maximum(times[k] - times[first:k], FAINTEST_S))[:, None]
            values = best[first:k] - (passed[k] - passed[first + 1 : k + 1])[:, None]
            for step, each in enumerate(due, 1):
                paid = values[:, :-step] - _step_costs(waits - each, counts)
                which = paid.argmax(axis=0)
                worth = paid[which, np.arange(strokes - step)] - SKIPPED_STROKE * (step - 1)
                better = worth > now[step:]
                now[step:][better] = worth[better]
                source[step:][better] = ((first + which) * strokes + np.arange(strokes - step))[better]
            others = np.arange(max(first, k - JUMP_ONSETS), k)
            left = tops[others] - (passed[k] - passed[others + 1])
            values = left[:, None] - jump_costs[top_strokes[others]]
            which = values.argmax(axis=0)
            worth = values[which, np.arange(len(starts))]
            better = worth > now[starts]
            to, other = starts[better], others[which[better]]
            now[to] = worth[better]
            source[to] = other * strokes + top_strokes[other]
            jumped[k, to] = True
        best[k] = now + gain[k]
        top_strokes[k] = int(best[k].argmax())
        tops[k] = best[k, top_strokes[k]]
    left_over = OUTSIDE * np.minimum((strokes - 1 - np.arange(strokes)) * SKIPPED_STROKE, MOST_OUTSIDE)
    ends = best - 0.3 * (passed[-1] - passed[1:])[:, None] - left_over
    place = int(ends.argmax())
    worth = float(ends.reshape(-1)[place])
    pairs: list[Pair] = []
    while place >= 0:
        k, stroke = divmod(place, strokes)
        place = int(came[k, stroke])
        pairs.append(Pair(k, stroke, bool(jumped[k, stroke]) and place >= 0))
    pairs.reverse()
    return _plain(pairs), worth


def _step_costs(off: FloatArray, counts: tuple[float, float]) -> FloatArray:
    """Return what steps cost whose tempo is so far off, as logarithms, which are worked on in their place."""
    wide, most = counts
    off *= off
    off *= wide
    np.minimum(off, most, out=off)
    off *= TEMPO_WEIGHT
    return off


def _plain(pairs: list[Pair]) -> list[Pair]:
    """Return pairs with a jump only where the next stroke isn't one of those that a step reaches."""
    plain = pairs[:1]
    for pair in pairs[1:]:
        ahead = pair.stroke - plain[-1].stroke
        plain.append(Pair(pair.onset, pair.stroke, not 1 <= ahead <= FURTHEST_STROKES))
    return plain


def local_tempo(wanted: WantedTake, pairs: list[Pair], times_s: FloatArray, width: int) -> FloatArray:
    """Return the seconds of the recording to one of the wanted take around each stroke.

    The median, over some strokes on either side, of the slopes between strokes that lie one, two or three apart.
    """
    strokes = np.array([pair.stroke for pair in pairs], np.int64)
    heard, due = times_s[[pair.onset for pair in pairs]], wanted.onsets_s[strokes]
    slopes, middles = [], []
    for apart in (1, 2, 3):
        passed, lasted = due[apart:] - due[:-apart], heard[apart:] - heard[:-apart]
        fit = (passed > 0.05) & (lasted > 0.02)
        slope = lasted[fit] / passed[fit]
        usual = (slope > 0.33) & (slope < 5.0)
        slopes.append(np.log(slope[usual]))
        middles.append((0.5 * (due[apart:] + due[:-apart]))[fit][usual])
    order = np.argsort(np.concatenate(middles), kind="stable")
    if not len(order):
        return np.ones(len(wanted.strokes))
    slope_logs, at = np.concatenate(slopes)[order], np.concatenate(middles)[order]
    places = np.searchsorted(at, wanted.onsets_s)
    reach = 3 * width
    firsts = np.clip(places - reach, 0, max(len(at) - reach, 0))
    return np.array(
        [
            float(np.exp(np.median(slope_logs[first : place + reach])))
            for first, place in zip(firsts, places, strict=True)
        ]
    )


FAINT_PART = 0.06
NEAR_PART = 0.35
"""Of the distance to the neighbouring strokes: so near its due time must an onset lie to be a stroke's."""

FURTHER_PART = 0.7
"""The same for one that fits as a stroke that was found does: the student came late."""

MUCH_STRONGER = 4.0


def _filled(
    pairs: list[Pair], onsets: Onsets, cosines: FloatArray, wanted: WantedTake, tempo: FloatArray
) -> list[Pair]:
    """Return pairs where strokes that found no onset get one that nobody claims, near their due time, if it fits."""
    times, due = onsets.times_s, wanted.onsets_s
    usual = float(np.median(onsets.strengths[[pair.onset for pair in pairs]]))
    fitting = float(np.percentile([cosines[pair.onset, pair.stroke] for pair in pairs], 25))
    made = pairs[:1]
    for after in pairs[1:]:
        before = made[-1]
        if not after.jumped:
            for stroke in range(before.stroke + 1, after.stroke):
                last = made[-1]
                share = (due[stroke] - due[before.stroke]) / (due[after.stroke] - due[before.stroke] + 1e-9)
                at_s = times[before.onset] + share * (times[after.onset] - times[before.onset])
                gaps = (due[stroke] - due[stroke - 1], due[stroke + 1] - due[stroke])
                room_s = min(gaps) * tempo[stroke]
                free = [
                    k
                    for k in range(last.onset + 1, after.onset)
                    if abs(times[k] - at_s)
                    < room_s * (FURTHER_PART if cosines[k, stroke] > fitting else NEAR_PART)
                    and onsets.strengths[k] > FAINT_PART * usual
                    and cosines[k, stroke] > np.median(cosines[k])
                ]
                if free:
                    best = max(free, key=lambda k: cosines[k, stroke] * min(onsets.strengths[k] / usual, 0.5))
                    made.append(Pair(best, stroke))
        made.append(after)
    return _restruck(made, onsets, cosines, usual)


def _restruck(pairs: list[Pair], onsets: Onsets, cosines: FloatArray, usual: float) -> list[Pair]:
    """Return pairs where a faint onset gives way to a much stronger one beside it that fits as well."""
    made = list(pairs)
    times, strengths = onsets.times_s, onsets.strengths
    for n in range(1, len(made) - 1):
        pair = made[n]
        low, high = made[n - 1], made[n + 1]
        near = [
            k
            for k in range(low.onset + 1, high.onset)
            if times[low.onset] + 0.06 < times[k] < times[high.onset] - 0.06
            and strengths[k] > MUCH_STRONGER * strengths[pair.onset]
            and cosines[k, pair.stroke] > cosines[pair.onset, pair.stroke] - 0.05
        ]
        if near:
            best = max(near, key=lambda k: cosines[k, pair.stroke] * min(strengths[k] / usual, 1.0))
            made[n] = Pair(best, pair.stroke, pair.jumped)
    return made
