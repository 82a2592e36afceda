"""The way through a printed piece: which repeat signs can tell it, and what has to be said in words.

A printed section is known by its index in the order printed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = ["END", "Repeat", "repeats_in", "way_on", "way_said"]

END = "end"
"""What is said where the piece ends."""


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


def way_on(place: int, order: Sequence[int], repeats: Sequence[Repeat]) -> dict[int, int | None]:
    """Return what follows a printed section where neither the next one nor a repeat sign tells.

    By how often the section has been played, counted from 1: the index into `order` of what follows, None for the end.
    """
    visits = [index for index, printed in enumerate(order) if printed == place]
    repeat = next((each for each in repeats if each.last == place), Repeat(place, place, 1))
    following = place + 1 if place < max(order) else None
    told = {}
    for count, visit in enumerate(visits, 1):
        coming = order[visit + 1] if visit + 1 < len(order) else None
        if coming != (repeat.first if count % repeat.times else following):
            told[count] = None if coming is None else visit + 1
    return told


def way_said(told: Mapping[int, str], counts: Sequence[int], *, repeated: bool) -> str:
    """Return the way on in words.

    Parameters
    ----------
    told
        What follows, by how often the section has been played.
    counts
        After which playings the words are read, in order.
    repeated
        Whether a repeat sign stands beside them.
    """
    here = [count for count in counts if count in told]
    if not here:
        return ""
    if (here == list(counts) and len({told[count] for count in here}) == 1) or (
        repeated and here == [counts[-1]]
    ):
        where = told[here[-1]]
        return where if where == END else f"then: {where}"
    return "   ".join(f"{_ordinal(count)} time: {told[count]}" for count in here)


def _ordinal(count: int) -> str:
    return {1: "1st", 2: "2nd", 3: "3rd"}.get(count, f"{count}th")
