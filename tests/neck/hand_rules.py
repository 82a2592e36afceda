"""The rules of a left hand, from its frets and fingers alone: nothing of the table's own reckoning is used."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

from tercet.neck.hands import Hand


def nut_mm(fret: int, scale_length_mm: float) -> float:
    """Return how far a fret lies from the nut."""
    return scale_length_mm - scale_length_mm / 2 ** (fret / 12)


def faults(hand: Hand, scale_length_mm: float, widest_mm: float = 85.0) -> list[str]:
    """Return which rules of a left hand one hand breaks; `widest_mm` between lowest and highest finger."""
    pressed = [
        (finger, fret, column)
        for column, (finger, fret) in enumerate(zip(hand.fingers, hand.frets, strict=True))
        if finger or fret
    ]
    if not pressed:
        return [] if hand.position >= 1 else ["position"]
    found = [*_faults_of_fingers(pressed), *_faults_of_barre(hand, pressed)]
    lowest, highest = min(fret for _, fret, _ in pressed), max(fret for _, fret, _ in pressed)
    low, high = min(finger for finger, _, _ in pressed), max(finger for finger, _, _ in pressed)
    if nut_mm(highest, scale_length_mm) - nut_mm(lowest, scale_length_mm) > widest_mm + 1e-9:
        found.append("too wide")
    if highest - lowest >= (5 if lowest >= 5 else 4):
        found.append("too many frets")
    if not -3 <= (highest - lowest) - (high - low) <= 2:
        found.append("fingers too far apart or too close")
    if hand.position != max(lowest - (low - 1), 1):
        found.append("position")
    return found


def _faults_of_fingers(pressed: list[tuple[int, int, int]]) -> list[str]:
    found = []
    if any(finger not in (1, 2, 3, 4) or fret < 1 for finger, fret, _ in pressed):
        found.append("a finger on an open string, or a fret without a finger")
    if any(count > 1 and finger > 1 for finger, count in Counter(f for f, _, _ in pressed).items()):
        found.append("a finger other than the index on several strings")
    for one, other in combinations(sorted(pressed), 2):
        if one[0] != other[0] and one[1:] > other[1:]:
            found.append("fingers cross")
    return found


def _faults_of_barre(hand: Hand, pressed: list[tuple[int, int, int]]) -> list[str]:
    under_index = [(fret, column) for finger, fret, column in pressed if finger == 1]
    if len(under_index) < 2:
        return []
    found = []
    if any(fret != min(fret for _, fret, _ in pressed) for fret, _ in under_index):
        found.append("a barre above the lowest fret")
    if 0 in hand.frets[under_index[0][1] : under_index[-1][1] + 1]:
        found.append("an open string inside the barre")
    return found
