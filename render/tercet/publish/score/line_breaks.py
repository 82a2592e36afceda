"""Where lines of music break on paper: as they are written, unless one is too long or too short.

A line of music that is wider than the paper is cut into lines of about the same width; short ones are joined while they
fit. A section begins on a new line, its pick-up with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from math import ceil

__all__ = ["WrittenWidth", "starts_of_lines"]

LOOSEST = 1.0
"""How much of the paper's width a line may take by itself; if it were drawn together, its words would touch."""

FULL_ENOUGH = 0.97
"""Lines are joined up to this part of the paper's width."""


@dataclass(frozen=True, slots=True)
class WrittenWidth:
    """A printed bar: its section as printed, its line of music there, and how wide it is by itself."""

    section: int
    line: int
    width: float


def starts_of_lines(bars: Sequence[WrittenWidth], room: float, opening: float) -> tuple[int, ...]:
    """Return the indices of the bars that begin a line on paper, the first of all not counted.

    Parameters
    ----------
    bars
        All printed bars in order.
    room
        Width of the paper.
    opening
        Width of what opens each line: clef and key.
    """
    starts: list[int] = []
    used = 0.0
    index = 0
    section = -1
    for (part, _), group in groupby(bars, key=lambda bar: (bar.section, bar.line)):
        widths = [bar.width for bar in group]
        joins = part == section and used + sum(widths) <= room * FULL_ENOUGH
        if not joins:
            for count in _cut(widths, room - opening):
                starts.append(index)
                used = opening + sum(widths[:count])
                index += count
                widths = widths[count:]
        else:
            used += sum(widths)
            index += len(widths)
        section = part
    return tuple(starts[1:])


def _cut(widths: Sequence[float], room: float) -> list[int]:
    """Return how many bars each of the lines has that a line of music is cut into."""
    total = sum(widths)
    lines = max(1, ceil(total / (room * LOOSEST)))
    aim = total / lines
    counts: list[int] = []
    count, used = 0, 0.0
    for width in widths:
        full = used + width > room * LOOSEST
        enough = used + width / 2 > aim and len(counts) < lines - 1
        if count and (full or enough):
            counts.append(count)
            count, used = 0, 0.0
        count, used = count + 1, used + width
    return [*counts, count]
