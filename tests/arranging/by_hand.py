"""What changes of hand cost, finger by finger, and how a tune is heard; and the chance that draws tunes for tests."""

from __future__ import annotations

import random

from tercet.arranging.model import Audibility
from tercet.neck.demands import COSTS
from tercet.neck.hands import Hand


def chance(number: int) -> random.Random:
    """Return a generator that draws the same every time."""
    return random.Random(number)  # noqa: S311 - to choose, not to hide


def slow_change(before: Hand, after: Hand) -> float:
    """Return the cost of one change, finger by finger."""
    moved = abs(before.position - after.position)
    eased = 0.5 if not any(before.fingers) or not any(after.fingers) else 1.0
    cost = eased * moved * COSTS["fret of a position change"]
    cost += eased * COSTS["position change"] if moved else 0.0
    for finger in (1, 2, 3, 4):
        if finger not in after.fingers:
            continue
        new = (after.fingers.index(finger), after.frets[after.fingers.index(finger)])
        if finger not in before.fingers:
            cost += COSTS["placing a finger"]
            continue
        old = (before.fingers.index(finger), before.frets[before.fingers.index(finger)])
        if old == new:
            cost += COSTS["kept finger"]
        elif old[0] == new[0]:
            cost += COSTS["guide finger"]
        elif old[1] == new[1]:
            cost += COSTS["finger carried across"]
        else:
            cost += COSTS["placing a finger"]
    return cost


def fingers_set(before: Hand, after: Hand) -> int:
    """Return how many fingers lie somewhere else than before; one that is lifted isn't counted."""

    def places(hand: Hand) -> dict[int, set[tuple[int, int]]]:
        found: dict[int, set[tuple[int, int]]] = {}
        for finger, place in zip(hand.fingers, enumerate(hand.frets), strict=True):
            if finger:
                found.setdefault(finger, set()).add(place)
        return found

    old = places(before)
    return sum(not held <= old.get(finger, set()) for finger, held in places(after).items())


def audibility(tune_midi: int, other_midis: tuple[int, ...]) -> Audibility:
    """Return how a tune's note stands against the other strings of its roll."""
    if all(other < tune_midi for other in other_midis):
        return "top"
    if all(other <= tune_midi for other in other_midis):
        return "unison"
    if all(other <= tune_midi or (other - tune_midi) % 12 == 0 for other in other_midis):
        return "octave"
    return "masked"
