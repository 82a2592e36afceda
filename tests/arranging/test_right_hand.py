"""How many strums a space is worth, against every run of them tried in turn."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from tercet.arranging import strums
from tercet.arranging.strums import strums_worth_playing
from tercet.neck.demands import COSTS
from tests.arranging.written import arranged, strums_of


def cost(beats: list[Fraction], before: Fraction | None, after: Fraction | None, beat_s: float) -> float:
    there = COSTS["thumb to strum"] * 0.5 / (float(beats[0] - before) * beat_s) if before is not None else 0.0
    back = COSTS["strum to thumb"] * 0.5 / (float(after - beats[-1]) * beat_s) if after is not None else 0.0
    return there + back + COSTS["strum in a space"] * len(beats)


def by_brute_force(
    beats: list[Fraction], before: Fraction | None, after: Fraction | None, beat_s: float
) -> list[Fraction]:
    runs = [beats[first:end] for first in range(len(beats)) for end in range(first + 1, len(beats) + 1)]
    best = min(runs, key=lambda run: (cost(run, before, after, beat_s), -len(run)))
    return best if cost(best, before, after, beat_s) <= 0 else []


def spaces() -> list[tuple[list[Fraction], Fraction | None, Fraction | None, float]]:
    draw = random.Random(4)  # noqa: S311
    made = []
    for _ in range(400):
        places = sorted(draw.sample(range(1, 16), draw.randint(1, 7)))
        beats = [Fraction(place, 4) for place in places]
        before = None if draw.random() < 0.2 else Fraction(0)
        after = None if draw.random() < 0.2 else Fraction(4)
        made.append((beats, before, after, draw.choice([0.2, 0.3, 0.45, 0.65, 1.0])))
    return made


def faults() -> list[str]:
    """Return the spaces for which another run costs less; equal costs differ by rounding."""
    found = []
    for space in spaces():
        costs = [
            cost(run, *space[1:]) if run else 0.0
            for run in (space[0][strums_worth_playing(*space)], by_brute_force(*space))
        ]
        if costs[0] > costs[1] + 1e-9:
            found.append(str(space))
    return found


def test_the_run_that_costs_least_is_played() -> None:
    assert faults() == []
    kept = [len(space[0][strums_worth_playing(*space)]) / len(space[0]) for space in spaces()]
    assert min(kept) == 0.0 < sum(kept) / len(kept) < 1.0 == max(kept)


def test_a_hand_that_changes_for_nothing_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(strums, "_change", lambda *_: 0.0)
    assert len(faults()) > 50


def test_no_place_no_strum() -> None:
    assert strums_worth_playing([], Fraction(0), Fraction(1), 0.5) == slice(0, 0)


@pytest.mark.parametrize(
    ("tempo", "beats"),
    [(100, ["1", "3"]), (160, ["1", "3"]), (190, ["3"])],  # after the last note nothing hurries
)
def test_a_quick_tempo_lets_the_tune_ring(tempo: int, beats: list[str]) -> None:
    made = arranged("C5:2 E4:2", "C", tempo=Fraction(tempo), strum=tuple("dddd"))
    assert [strum.split()[0] for strum in strums_of(made)] == beats


def test_a_long_rest_is_weighed_at_once() -> None:
    beats = [Fraction(place, 4) for place in range(1, 40_000)]
    assert strums_worth_playing(beats, Fraction(0), Fraction(10_000), 0.5) == slice(0, len(beats))
