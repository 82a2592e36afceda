"""Verdicts: which keys newly sound at each stroke, and whether that is what was wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tercet.hearing.alignment import Alignment
from tercet.hearing.model import Verdict
from tercet.hearing.spectra import RATE_HZ, FloatArray, Samples, powers_at, to_axis
from tercet.hearing.templates import pitch_template
from tercet.hearing.timing import OFF_S
from tercet.hearing.wanted import WantedStroke, WantedTake

__all__ = ["Judged", "MissedStroke", "Sounding", "judged", "missed_strokes", "sounding_keys"]

WINDOW_FRAMES, TRANSFORM = 3072, 4096
AFTER_S, BEFORE_S = 0.025, 0.006
TAKEN_OUT = 0.7
LOWEST_KEY, HIGHEST_KEY = 45, 84
ROUNDS = 150


@dataclass(frozen=True)
class Sounding:
    """How strongly each MIDI key newly sounds at each stroke, (strokes, keys); keys count from `first`."""

    activations: FloatArray
    first: int = LOWEST_KEY

    def of(self, stroke: int, midi: int) -> float:
        """Return how strongly a key sounds at a stroke; 0 outside the keys."""
        place = midi - self.first
        return float(self.activations[stroke, place]) if 0 <= place < self.activations.shape[1] else 0.0


def sounding_keys(
    samples: Samples, strings_s: Sequence[FloatArray], colour: FloatArray, cents: float
) -> Sounding:
    """Return what newly sounds at each stroke, as a sum of single strings' templates with no negative part.

    Multiplicative updates (D. D. Lee, H. S. Seung, "Learning the parts of objects by non-negative matrix
    factorization", Nature 401, 1999) with the templates held.

    Parameters
    ----------
    samples
        The recording.
    strings_s
        When the strings of each stroke are struck.
    colour
        The recording's long-term spectrum, as far as it is divided out.
    cents
        How far all strings are off.
    """
    firsts = np.array([times[0] for times in strings_s])
    lasts = np.array([times[-1] for times in strings_s])
    following = np.concatenate([firsts[1:], [np.inf]])
    length_s = WINDOW_FRAMES / RATE_HZ
    starts = np.minimum(lasts + AFTER_S, np.maximum(following - 0.01 - length_s, lasts + 0.005))
    after = powers_at(samples, _frames(starts), WINDOW_FRAMES, TRANSFORM)
    before = powers_at(samples, _frames(firsts - BEFORE_S - length_s), WINDOW_FRAMES, TRANSFORM)
    new = (np.sqrt(np.maximum(after - TAKEN_OUT * before, 0.0)) @ to_axis(TRANSFORM)) / colour
    keys = np.arange(LOWEST_KEY, HIGHEST_KEY)
    templates = np.stack([pitch_template(float(key), cents, WINDOW_FRAMES) for key in keys])
    return Sounding(_unmixed(new, templates))


def _frames(times_s: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.round(times_s * RATE_HZ).astype(np.int64)


def _unmixed(values: FloatArray, templates: FloatArray) -> FloatArray:
    towards, overlaps = values @ templates.T, templates @ templates.T
    found = np.full(towards.shape, 1e-3) * values.max(initial=1e-9)
    for _ in range(ROUNDS):
        found *= towards / (found @ overlaps + 1e-12)
    return np.asarray(found)


# ---- verdicts

NEAREST_KEYS = 4
"""Another note is looked for so many semitones on either side: the frets beside the right one, and the next string."""

TIMES_AS_STRONG, LEAST_PART = 2.5, 0.3
"""Another note was struck if its key sounds so much more than the wanted one, and is so much of a usual stroke."""

ABSENT_PART = 0.12
"""Of a usual stroke: with less of the wanted key, and nothing else in its place, the onset was none of this stroke."""

PAST_PART = 0.5
"""A roll ran past the tune's string if the next one sounds as strongly as this part of the tune's."""

OCTAVES = (12, 19, 24, 28)
"""Intervals of a string's own partials: a key so far above another can't be told from it."""

PLAIN = ("roll", "single")
"""What is judged by its notes; strums are quiet, and half covered by what rings."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict, the key heard instead if there is one, and how far it can be relied on."""

    verdict: Verdict
    heard_midi: int | None
    trust: float


def judged(
    wanted: WantedTake, aligned: Alignment, sounding: Sounding, late_s: FloatArray
) -> tuple[Judged, ...]:
    """Return the verdict of each stroke that was paired with an onset."""
    strokes = [wanted.strokes[pair.stroke] for pair in aligned.pairs]
    usual = _usual(strokes, sounding)
    spread_s = max(float(np.median(np.abs(late_s))) * 1.48, 0.005)
    made = []
    for n, (stroke, late) in enumerate(zip(strokes, late_s.tolist(), strict=True)):
        rings = n > 0 and any(string.midi == stroke.main_midi for string in strokes[n - 1].strings)
        verdict = _by_its_notes(n, stroke, sounding, usual.get(stroke.layer, 1.0), rings=rings)
        if verdict.verdict in ("played", "ran past") and stroke.action in PLAIN and abs(late) > OFF_S:
            sure = min(max((abs(late) - OFF_S) / 0.03, 0.0), 1.0) * min(abs(late) / (4.0 * spread_s), 1.0)
            verdict = Judged("late" if late > 0.0 else "early", None, 0.5 + 0.5 * sure)
        made.append(verdict)
    return tuple(made)


def _usual(strokes: Sequence[WantedStroke], sounding: Sounding) -> dict[str, float]:
    """Return how strongly the wanted key of a layer's stroke usually sounds."""
    found: dict[str, list[float]] = {}
    for n, stroke in enumerate(strokes):
        if stroke.action in PLAIN:
            found.setdefault(stroke.layer, []).append(max(sounding.of(n, s.midi) for s in stroke.strings))
    return {layer: float(np.median(values)) + 1e-12 for layer, values in found.items()}


def _by_its_notes(n: int, stroke: WantedStroke, sounding: Sounding, usual: float, *, rings: bool) -> Judged:
    """Return the verdict by what newly sounds; where the wanted key rings from the stroke before, little of it does."""
    if stroke.action not in PLAIN:
        return Judged("played", None, 0.5)
    own = {string.midi for string in stroke.strings}
    wanted = sounding.of(n, stroke.main_midi)
    around = [
        key
        for key in range(stroke.main_midi - NEAREST_KEYS, stroke.main_midi + NEAREST_KEYS + 1)
        if key not in own
    ]
    other = max(around, key=lambda key: sounding.of(n, key))
    instead = sounding.of(n, other)
    if instead > TIMES_AS_STRONG * wanted and instead > LEAST_PART * usual:
        clear = min(np.log10(instead / (wanted + 1e-9 * usual)) / 0.8, 1.0)
        return Judged("another note", other, float(min(clear, 0.4 + instead / usual)))
    if not rings and wanted < ABSENT_PART * usual and instead < LEAST_PART * usual:
        return Judged("missed", None, 0.75)
    if _ran_past(n, stroke, sounding, wanted):
        return Judged("ran past", stroke.next_midi, 0.75)
    return Judged("played", None, float(min(wanted / (0.4 * usual), 1.0)))


def _ran_past(n: int, stroke: WantedStroke, sounding: Sounding, wanted: float) -> bool:
    key = stroke.next_midi
    if key is None or any(key - string.midi in (0, *OCTAVES) for string in stroke.strings):
        return False
    return sounding.of(n, key) > PAST_PART * wanted


@dataclass(frozen=True, slots=True)
class MissedStroke:
    """A stroke of melody or between that was left out: after which pair it was due, its place, how sure that is."""

    after_pair: int
    stroke: int
    trust: float


MOST_MISSED = 3
"""More strokes in a row that find no onset tell of a place that wasn't followed, not of notes left out."""


EDGE_PAIRS = 2
"""So near to a jump or a pause it isn't sure which strokes were played at all."""

WITH_ANOTHER_PART = 0.35
"""Of a usual stroke: a note that sounds so strongly at a neighbour's onset was struck with it, not left out."""


def missed_strokes(
    aligned: Alignment, runs: Sequence[range], wanted: WantedTake, sounding: Sounding
) -> tuple[MissedStroke, ...]:
    """Return the notes of melody and between that were passed over while the strokes around them were played."""
    places = aligned.strokes
    usual = _usual([wanted.strokes[place] for place in places], sounding)
    made = []
    for run in runs:
        first = run.start + EDGE_PAIRS * (run.start > 0)
        last = run.stop - 1 - EDGE_PAIRS * (run.stop < len(places))
        for n in range(first, last):
            between = range(places[n] + 1, places[n + 1])
            if not 0 < len(between) <= MOST_MISSED:
                continue
            made += [
                MissedStroke(n, place, 0.9 if len(between) == 1 else 0.75)
                for place in between
                if wanted.strokes[place].action in PLAIN
                and not _sounds_with_another(
                    wanted.strokes[place], (n, n + 1), aligned, wanted, sounding, usual
                )
            ]
    return tuple(made)


def _sounds_with_another(
    stroke: WantedStroke,
    neighbours: Sequence[int],
    aligned: Alignment,
    wanted: WantedTake,
    sounding: Sounding,
    usual: dict[str, float],
) -> bool:
    """Return whether a stroke's note newly sounds at the onset of a neighbour that doesn't have it."""
    least = WITH_ANOTHER_PART * usual.get(stroke.layer, 1.0)
    for n in neighbours:
        own = {string.midi for string in wanted.strokes[aligned.pairs[n].stroke].strings}
        if stroke.main_midi not in own and sounding.of(n, stroke.main_midi) > least:
            return True
    return False
