"""What was heard of a performance against what is true of it, counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tercet.arranging import Arrangement
from tercet.hearing import Heard, HeardStroke
from tests.hearing.performances import Played, TrueStroke

__all__ = ["Score", "added", "score"]

NEAR_S = 0.05
SAME_S = 0.35
PAUSE_NEAR_S = 1.5
REPEAT_BARS = 1
"""Bars with the same notes can't be told apart at their edges."""

NOTES = ("another note", "missed")
TUNE_LAYERS = ("melody", "between")


@dataclass
class Score:
    """Counts over recordings, and errors one by one."""

    counts: Counter[str] = field(default_factory=Counter)
    onset_errors_s: list[float] = field(default_factory=list)
    front_errors_lu: list[float] = field(default_factory=list)
    cents_errors: list[float] = field(default_factory=list)
    trusts: list[float] = field(default_factory=list)

    def part(self, right: str, of: str) -> float:
        """Return one count as a part of another; NaN where there is none."""
        return self.counts[right] / self.counts[of] if self.counts[of] else float("nan")


def score(heard: Heard, played: Played, arrangement: Arrangement) -> Score:
    """Return the score of one recording."""
    made = Score()
    beats = {(g.bar_number, g.start_beat, g.layer) for g in arrangement.gestures}
    assert all(stroke.place in beats for stroke in played.strokes)
    pairs = _paired(heard, played)
    for true, found in pairs:
        if true.played_midi is not None:
            made.counts["strokes"] += 1
            if found is not None and found.onset_s is not None:
                made.onset_errors_s.append(found.onset_s - true.first_s)
                made.counts["strokes near"] += abs(found.onset_s - true.first_s) <= NEAR_S
    _count_verdicts(made, heard, pairs)
    _count_places(made, heard, played)
    if played.front_lu is not None:
        made.counts["fronts"] += 1
        if heard.front.lu is not None:
            made.front_errors_lu.append(heard.front.lu - played.front_lu)
    for string in heard.tuning:
        made.cents_errors.append(string.cents - played.cents.get(string.string, 0.0))
    made.trusts.append(heard.trust)
    made.counts["takes"] += 1
    return made


def _paired(heard: Heard, played: Played) -> list[tuple[TrueStroke, HeardStroke | None]]:
    """Return each true stroke with the heard one of the same place that is nearest in time; missed ones by order."""
    wanted_places = _places(heard)
    free: dict[object, list[HeardStroke]] = {}
    for stroke in heard.strokes:
        free.setdefault(wanted_places[stroke.stroke], []).append(stroke)
    pairs: list[tuple[TrueStroke, HeardStroke | None]] = []
    for true in played.strokes:
        here = free.get(true.place, [])
        nearest = min(here, key=lambda s: _apart_s(s, true), default=None)
        if nearest is not None and (nearest.onset_s is None or _apart_s(nearest, true) < SAME_S):
            here.remove(nearest)
            pairs.append((true, nearest))
        else:
            pairs.append((true, None))
    return pairs


def _apart_s(stroke: HeardStroke, true: TrueStroke) -> float:
    return 0.3 if stroke.onset_s is None else abs(stroke.onset_s - true.first_s)


def _places(heard: Heard) -> dict[int, object]:
    """Return the place of each stroke: its bar, beat and layer, in the order of the wanted take."""
    by_gesture: dict[int, list[object]] = {}
    layers = {stroke.layer for stroke in heard.strokes}
    onset_s: dict[int, float] = {}
    for note in heard.wanted.notes:
        if note.layer in layers:
            by_gesture[note.gesture] = [heard.wanted.bars[note.bar_index].number, note.beat, note.layer]
            onset_s[note.gesture] = min(onset_s.get(note.gesture, np.inf), note.onset_s)
    ordered = sorted(by_gesture, key=lambda gesture: onset_s[gesture])
    return {n: tuple(by_gesture[gesture]) for n, gesture in enumerate(ordered)}


def _count_verdicts(
    made: Score, heard: Heard, pairs: Sequence[tuple[TrueStroke, HeardStroke | None]]
) -> None:
    names = {
        "wrong": ("another note",),
        "missed": ("missed",),
        "late": ("late", "early"),
        "past": ("ran past",),
    }
    slips = {id(found): true.slip for true, found in pairs if found is not None}
    for true, found in pairs:
        if true.slip in names:
            made.counts[f"{true.slip} planted"] += 1
            if found is None:
                made.counts[f"{true.slip} found"] += true.slip == "missed" and _claimed_near(heard, true)
            else:
                right = found.verdict in names[true.slip]
                right = right and (true.slip != "wrong" or found.heard_midi == true.played_midi)
                made.counts[f"{true.slip} found"] += right
    for stroke in heard.slips():
        kind = next(kind for kind, verdicts in names.items() if stroke.verdict in verdicts)
        made.counts[f"{kind} claimed"] += 1
        made.counts[f"{kind} right"] += slips.get(id(stroke), "") == kind
        made.counts["false claims"] += slips.get(id(stroke), "") not in (kind, *names)
        made.counts["false note claims"] += (
            kind in ("wrong", "missed") and slips.get(id(stroke), "") not in names
        )


def _claimed_near(heard: Heard, true: TrueStroke) -> bool:
    return any(s.verdict == "missed" and s.bar_number == true.place[0] for s in heard.strokes)


def _count_places(made: Score, heard: Heard, played: Played) -> None:
    """Count repeats by the bars that they lead from and to, and pauses by when they begin."""
    made.counts["repeats planted"] += len(played.repeats)
    claimed = [(repeat.after_bar, repeat.to_bar) for repeat in heard.repeats]
    for after, to in played.repeats:
        match = next(
            (c for c in claimed if abs(c[0] - after) <= REPEAT_BARS and abs(c[1] - to) <= REPEAT_BARS), None
        )
        if match is not None:
            claimed.remove(match)
            made.counts["repeats found"] += 1
    made.counts["repeats false"] += len(claimed)
    starts = [pause.start_s for pause in heard.pauses]
    made.counts["pauses planted"] += len(played.pauses_s)
    for at_s in played.pauses_s:
        match_s = next((start for start in starts if abs(start - at_s) < PAUSE_NEAR_S), None)
        if match_s is not None:
            starts.remove(match_s)
            made.counts["pauses found"] += 1
    made.counts["pauses false"] += len(starts)


def added(scores: Iterable[Score]) -> Score:
    """Return scores added up."""
    total = Score()
    for each in scores:
        total.counts.update(each.counts)
        total.onset_errors_s += each.onset_errors_s
        total.front_errors_lu += each.front_errors_lu
        total.cents_errors += each.cents_errors
        total.trusts += each.trusts
    return total
