"""The cheapest way through a run of notes: a shortest path over the choices of each.

The cost of a path is the sum of what each choice costs by itself and of what each change of hand costs, which weighs
more the less time there is. Found by dynamic programming (Bellman 1957; for fingerings Sayegh 1989): exact for the
choices that it gets, in time that grows with the number of notes. Ties go to the choice that comes first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tercet.arranging.choices import Choices
from tercet.neck.demands import COSTS
from tercet.neck.priced_hands import PricedHands

__all__ = ["Changes", "Step", "cheapest_path", "hurry"]

AT_EASE_S = 0.5
"""With this time for a change, it weighs 1."""

LEAST_HURRY, MOST_HURRY = 0.3, 2.0

_STRING_APART = np.abs(np.arange(4)[:, None] - np.arange(4)[None, :])


@dataclass(frozen=True, slots=True)
class Step:
    """One note of a run.

    Parameters
    ----------
    choices
        The ways to play it, at least one.
    gap_s
        Time since the note before, in seconds; ignored for the first of a piece.
    rings_over
        Whether the note before is to ring on over it, from another string.
    extra
        What each choice costs here beside what it costs by itself; None for nothing.
    """

    choices: Choices
    gap_s: float
    rings_over: bool = False
    extra: NDArray[np.float64] | None = None

    @property
    def cost(self) -> NDArray[np.float64]:
        """What each choice costs here, before any change of hand."""
        return self.choices.cost if self.extra is None else self.choices.cost + self.extra

    def dearer(self, extra: NDArray[np.float64]) -> Step:
        """Return the step with what its choices cost yet more."""
        more = extra if self.extra is None else self.extra + extra
        return Step(self.choices, self.gap_s, self.rings_over, more)


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """The choices of two notes, which stay as long as what is known of them.

    What changes cost at ease, and which set three fingers anew, both (before, after).
    """

    before: Choices
    after: Choices
    cost: NDArray[np.float64]
    many: NDArray[np.bool_]


class Changes:
    """Costs of getting from each choice of one note to each of the next: once for each pair, however fast."""

    def __init__(self, board: PricedHands) -> None:
        self._board = board
        self._crossing_cost = COSTS["string crossed"] * _STRING_APART
        self._known: dict[tuple[int, int], _Pair] = {}
        self._known_ringing: dict[tuple[int, int], tuple[Choices, Choices, NDArray[np.float64]]] = {}
        self._singles: dict[tuple[int, int, int, int, float], Choices] = {}

    def __len__(self) -> int:
        return len(self._known) + len(self._known_ringing)

    def single(self, hand: int, column: int, struck: int, heard: int, cost: float) -> Choices:
        """Return a single choice, the same for the same: of a note that is fingered already."""
        key = (hand, column, struck, heard, cost)
        if key not in self._singles:
            self._singles[key] = Choices(
                np.array([hand]),
                np.array([column]),
                np.array([struck], np.int8),
                np.array([heard], np.int8),
                np.array([cost]),
            )
        return self._singles[key]

    def into(self, before: Choices, step: Step) -> NDArray[np.float64]:
        """Return what the changes from some choices to those of a note cost, float (before, after)."""
        cost = self.between(before, step.choices, step.gap_s)
        return cost + self._ringing(before, step.choices) if step.rings_over else cost

    def _ringing(self, before: Choices, after: Choices) -> NDArray[np.float64]:
        """Return what it costs that a note can't ring on over the next: its string is struck, or its finger lifted."""
        key = (id(before), id(after))
        known = self._known_ringing.get(key)
        if known is None:
            frets = self._board.table.frets
            held = frets[before.hand, before.column]
            kept = held[:, None] == frets[after.hand][:, before.column].T
            same = before.column[:, None] == after.column[None, :]
            cost = np.where(
                same, COSTS["same string as the note before"], COSTS["note before let go"] * ~kept
            )
            known = self._known_ringing[key] = (before, after, cost)
        return known[2]

    def between(self, before: Choices, after: Choices, gap_s: float) -> NDArray[np.float64]:
        """Return what the changes cost with so many seconds to make them, float (before, after)."""
        key = (id(before), id(after))
        pair = self._known.get(key)
        if pair is None:
            cost, many = self._board.changes(before.hand, after.hand)
            cost += self._crossing_cost[before.column].take(after.column, axis=1)
            pair = self._known[key] = _Pair(before, after, cost, many)
        hurried = pair.cost * hurry(gap_s)
        if self._board.in_a_hurry(gap_s):
            hurried += COSTS["three fingers in a hurry"] * pair.many
        return hurried


def hurry(gap_s: float) -> float:
    """Return how much a change weighs with so many seconds to make it: 1 at half a second, 0.3 to 2."""
    return min(max(AT_EASE_S / gap_s, LEAST_HURRY), MOST_HURRY) if gap_s > 0 else MOST_HURRY


def cheapest_path(
    steps: Sequence[Step], changes: Changes, before: Choices | None = None, after: Step | None = None
) -> tuple[int, ...]:
    """Return for each note of a run the index of its choice.

    Parameters
    ----------
    steps
        The notes, at least one.
    changes
        What changes cost.
    before
        The single choice from which the run starts, or None at the start of a piece.
    after
        The single choice into which the run leads, or None where it ends.
    """
    total = steps[0].cost.copy()
    if before is not None:
        total += changes.into(before, steps[0])[0]
    came_from: list[NDArray[np.intp]] = []
    for earlier, step in pairwise(steps):
        reached = total[:, None] + changes.into(earlier.choices, step)
        best = reached.argmin(axis=0)
        came_from.append(best)
        total = reached[best, np.arange(len(best))] + step.cost
    if after is not None:
        total = total + changes.into(steps[-1].choices, after)[:, 0]
    path = [int(total.argmin())]
    for best in reversed(came_from):
        path.append(int(best[path[-1]]))
    return tuple(reversed(path))
