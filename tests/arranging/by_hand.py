"""What changes of hand cost, finger by finger, and how a tune is heard; and the chance that draws tunes for tests."""

from __future__ import annotations

import random

from tercet.arranging.model import Audibility
from tercet.neck.demands import COSTS
from tercet.neck.hands import Hand


def chance(number: int) -> random.Random:
    """Return a generator that draws the same every time."""
    return random.Random(number)  # noqa: S311 - to choose, not to hide


def room(hand: Hand) -> int:
    """Return how many frets further down the index finger may lie: one where fingers lie closer than one a fret."""
    used = [(finger, fret) for finger, fret in zip(hand.fingers, hand.frets, strict=True) if finger]
    if not used or hand.position == 1:
        return 0
    (low, low_fret), (high, high_fret) = min(used), max(used)
    return int(high_fret - low_fret < high - low)


def slow_change(before: Hand, after: Hand) -> float:
    """Return the cost of one change, finger by finger."""
    up, down = after.position - room(after) - before.position, before.position - room(before) - after.position
    moved = max(up, down, 0)
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
