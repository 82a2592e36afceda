"""The way through a printed piece: which repeat signs can tell it, and what has to be said in words.

A printed section is known by its index in the order printed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Repeat", "repeats_in", "way_on"]


@dataclass(frozen=True, slots=True)
class Repeat:
    """Printed sections from `first` to `last` that are played several times in a row."""

    first: int
    last: int
    times: int


def repeats_in(order: Sequence[int]) -> tuple[Repeat, ...]:
    """Return the repeats that signs can tell, from the printed sections in the order in which they are played."""
    repeats = []
    at = 0
    while at < len(order):
        length, times = _repeated(order, at)
        if times > 1:
            repeats.append(Repeat(order[at], order[at + length - 1], times))
        at += length * times
    return tuple(repeats)


def _repeated(order: Sequence[int], at: int) -> tuple[int, int]:
    """Return the length of the shortest group from a place that is repeated at once, and how often it is played.

    Only sections that come for the first time, and in the order printed, can be closed in signs.
    """
    if order[at] in order[:at]:
        return 1, 1
    for length in range(1, (len(order) - at) // 2 + 1):
        group = list(order[at : at + length])
        if group != list(range(group[0], group[0] + length)):
            break
        times = 1
        while list(order[at + times * length : at + (times + 1) * length]) == group:
            times += 1
        if times > 1:
            return length, times
    return 1, 1


def way_on(place: int, order: Sequence[int], repeats: Sequence[Repeat], names: Sequence[str]) -> str:
    """Return where to go after a printed section, where neither the next one nor a repeat sign tells; else empty."""
    visits = [index for index, printed in enumerate(order) if printed == place]
    repeat = next((each for each in repeats if each.last == place), Repeat(place, place, 1))
    told = []
    for count, visit in enumerate(visits, 1):
        coming = order[visit + 1] if visit + 1 < len(order) else None
        plain = repeat.first if count < repeat.times else place + 1 if place + 1 < len(names) else None
        if coming != plain:
            told.append((count, "end" if coming is None else names[coming]))
    if not told:
        return ""
    if len(visits) == repeat.times:
        return f"then: {told[-1][1]}" if told[-1][1] != "end" else "end"
    return "   ".join(f"{_ordinal(count)} time: {name}" for count, name in told)


def _ordinal(count: int) -> str:
    return {1: "1st", 2: "2nd", 3: "3rd"}.get(count, f"{count}th")
