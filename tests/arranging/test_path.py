"""The cheapest path: equal to trying everything out, its cost adds up, its ends are fixed, its ties go one way."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import pairwise, product

import numpy as np
import pytest

from tercet.arranging import path as path_module
from tercet.arranging.choices import Choices, Question, choices_for
from tercet.arranging.path import Changes, Step, cheapest_path, hurry
from tercet.neck.demands import COSTS, LIMITS, Hands
from tercet.neck.priced_hands import PricedHands, priced_hands
from tercet.theory import TUNINGS, parse_chord
from tests.arranging.by_hand import chance, fingers_set, slow_change


def board() -> PricedHands:
    return priced_hands(Hands(TUNINGS["high-g"], 380.0, LIMITS["improving"]), 7)


def path_cost(
    steps: Sequence[Step], path: Sequence[int], changes: Changes, before: Choices | None = None
) -> float:
    """Return the cost of one path, summed choice by choice and change by change."""
    cost = 0.0
    earlier, earlier_index = before, 0
    for step, index in zip(steps, path, strict=True):
        cost += float(step.choices.cost[index])
        if earlier is not None:
            cost += float(changes.between(earlier, step.choices, step.gap_s)[earlier_index, index])
        earlier, earlier_index = step.choices, index
    return cost


def drawn_choices(drawn: random.Random, most: int) -> Choices:
    count = drawn.randint(1, most)
    return Choices(
        np.array([drawn.randrange(len(board().table)) for _ in range(count)]),
        np.array([drawn.randrange(4) for _ in range(count)]),
        np.ones(count, np.int8),
        np.zeros(count, np.int8),
        np.array([drawn.uniform(0, 4) for _ in range(count)]),
    )


def drawn_steps(drawn: random.Random) -> list[Step]:
    return [
        Step(drawn_choices(drawn, 6), drawn.choice([0.1, 0.3, 0.5, 1.0])) for _ in range(drawn.randint(3, 5))
    ]


def slow_cost(steps: list[Step], path: tuple[int, ...]) -> float:
    """Return the cost of a path, change by change, nothing of the solver's own reckoning used."""
    cost = sum(float(step.choices.cost[index]) for step, index in zip(steps, path, strict=True))
    for (before, at), (after, to) in pairwise(zip(steps, path, strict=True)):
        weight = min(max(0.5 / after.gap_s, 0.3), 2.0)
        hands = board().hand(int(before.choices.hand[at])), board().hand(int(after.choices.hand[to]))
        crossed = abs(int(before.choices.column[at]) - int(after.choices.column[to]))
        cost += weight * (slow_change(*hands) + COSTS["string crossed"] * crossed)
        if after.gap_s < LIMITS["improving"].three_fingers_s and fingers_set(*hands) >= 3:
            cost += COSTS["three fingers in a hurry"]
    return cost


def by_trying_all(steps: list[Step]) -> tuple[float, tuple[int, ...]]:
    paths = product(*(range(len(step.choices)) for step in steps))
    return min((slow_cost(steps, path), path) for path in paths)


@pytest.mark.parametrize("number", range(25))
def test_the_cheapest_path_is_the_cheapest_of_all(number: int) -> None:
    steps = drawn_steps(chance(number))
    found = cheapest_path(steps, Changes(board()))
    best_cost, best = by_trying_all(steps)
    assert found == best
    assert path_cost(steps, found, Changes(board())) == pytest.approx(best_cost)


@pytest.mark.parametrize(
    ("midis", "chords"),
    [
        ((72, 69, 67), ("C", "F", "G7")),
        ((64, 65, 67, 72), ("C", "Dm", "C", "C")),
        ((69, 71, 72), ("Am", "Em", "F")),
        ((67, 62, 69, 70), ("Gm", "Gm", "D7", "Bb")),
    ],
)
def test_real_notes_are_played_in_the_cheapest_way(midis: tuple[int, ...], chords: tuple[str, ...]) -> None:
    steps = []
    for midi, name in zip(midis, chords, strict=True):
        asked = Question(midi, parse_chord(name), None, True, None, None, 5)
        choices = choices_for(asked, board(), exact=True)
        steps.append(Step(choices.taken(np.argsort(choices.cost, kind="stable")[:10]), 0.4))
    found = cheapest_path(steps, Changes(board()))
    assert slow_cost(steps, found) == pytest.approx(by_trying_all(steps)[0])


@pytest.mark.parametrize("number", range(10))
def test_fixed_ends(number: int) -> None:
    drawn = chance(number)
    steps, first, last = drawn_steps(drawn), drawn_choices(drawn, 1), Step(drawn_choices(drawn, 1), 0.2)
    changes = Changes(board())
    found = cheapest_path(steps, changes, first, last)
    whole = [Step(first, 1.0), *steps, last]
    cost, best = by_trying_all(whole)
    assert (0, *found, 0) == best
    assert path_cost([*steps, last], (*found, 0), changes, first) + float(first.cost[0]) == pytest.approx(
        cost
    )


def test_the_time_before_a_piece_weighs_nothing() -> None:
    steps = drawn_steps(chance(3))
    sooner = [Step(steps[0].choices, 0.01), *steps[1:]]
    assert cheapest_path(steps, Changes(board())) == cheapest_path(sooner, Changes(board()))


def test_equals_go_to_the_first() -> None:
    one = drawn_choices(chance(2), 1)
    twice = one.taken(np.array([0, 0, 0]))
    changes = Changes(board())
    assert cheapest_path([Step(twice, 0.5)] * 4, changes) == (0, 0, 0, 0)
    assert cheapest_path([Step(twice, 0.5)] * 4, changes, one, Step(twice, 0.5)) == (0, 0, 0, 0)


def test_one_note_is_a_path() -> None:
    choices = drawn_choices(chance(9), 6)
    assert cheapest_path([Step(choices, 0.5)], Changes(board())) == (int(choices.cost.argmin()),)


@pytest.mark.parametrize(
    ("gap_s", "weight"),
    [(0.0, 2.0), (0.1, 2.0), (0.25, 2.0), (0.4, 1.25), (0.5, 1.0), (1.0, 0.5), (9.0, 0.3)],
)
def test_changes_weigh_more_the_less_time_there_is(gap_s: float, weight: float) -> None:
    assert hurry(gap_s) == pytest.approx(weight)


def test_changes_are_worked_out_once_for_a_pair_however_fast() -> None:
    changes = Changes(board())
    before, after = drawn_choices(chance(1), 5), drawn_choices(chance(2), 5)
    calm = changes.between(before, after, 1.0)
    assert np.array_equal(changes.between(before, after, 0.5), 2.0 * calm)
    assert np.array_equal(changes.between(before, after, 1.0), calm)
    assert len(changes) == 1
    assert changes.between(after, before, 0.1).shape == (len(after), len(before))
    assert len(changes) == 2


# Sabotage: a solver that weighs wrongly is caught by trying all


def _caught(monkeypatch: pytest.MonkeyPatch, name: str, wrong: object) -> int:
    monkeypatch.setattr(path_module, name, wrong)
    return sum(
        cheapest_path(steps, Changes(board())) != by_trying_all(steps)[1]
        for steps in (drawn_steps(chance(number)) for number in range(25))
    )


def test_a_hurry_that_is_always_the_same_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _caught(monkeypatch, "hurry", lambda gap_s: 1.0) > 3


def test_crossing_strings_for_nothing_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _caught(monkeypatch, "_STRING_APART", np.zeros((4, 4))) >= 1


def test_changes_that_cost_nothing_are_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        Changes, "between", lambda self, before, after, gap_s: np.zeros((len(before), len(after)))
    )
    assert _caught(monkeypatch, "LEAST_HURRY", 0.3) > 10


def test_choosing_note_by_note_is_caught() -> None:
    """Each note the cheapest by itself, or the cheapest from where the hand is: both cost more."""
    greedy_loses = alone_loses = 0
    for number in range(25):
        steps = drawn_steps(chance(number))
        best = by_trying_all(steps)[0]
        alone = tuple(int(step.choices.cost.argmin()) for step in steps)
        greedy: tuple[int, ...] = ()
        for place, step in enumerate(steps):
            ends = [(slow_cost(steps[: place + 1], (*greedy, end)), end) for end in range(len(step.choices))]
            greedy = (*greedy, min(ends)[1])
        alone_loses += slow_cost(steps, alone) > best + 1e-9
        greedy_loses += slow_cost(steps, greedy) > best + 1e-9
    assert alone_loses > 15
    assert greedy_loses > 5
