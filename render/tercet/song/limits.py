"""Ranges that a song file, a class file and an option of the command line share."""

from __future__ import annotations

from fractions import Fraction

__all__ = [
    "FRONT_RANGE_LU",
    "MOST_COUNT_IN_BARS",
    "SPEED_RANGE",
    "percent_range",
]

SPEED_RANGE = (Fraction(1, 4), Fraction(2))
"""Parts of the song's tempo at which it can be played."""

MOST_COUNT_IN_BARS = 8

FRONT_RANGE_LU = (0, 24)
"""How far the strums may lie behind the melody."""


def percent_range() -> str:
    """Return the range of speeds as it is told.

    >>> percent_range()
    '25% to 200%'
    """
    return " to ".join(f"{speed * 100}%" for speed in SPEED_RANGE)
