"""Rows that a blank line keeps apart though they sound together: chords above it, the tune below.

A blank line begins the next line of music. A line of chords alone, and after it one of melody alone, may be an intro
and what follows it. But where no line of a section has both, where every two lines together have both, and with as
many bars, it's one music in two halves. Words without a melody belong to the one above them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from tercet.song.rows import WrittenRow

__all__ = ["lines_that_belong_together"]

_Rows = list[WrittenRow]


def lines_that_belong_together(lines: list[_Rows], agree: Callable[[int, _Rows], bool]) -> list[list[_Rows]]:
    """Return a section's lines of music, those that were meant as one in one group; most groups have one line.

    Parameters
    ----------
    lines
        The rows of each line.
    agree
        Whether rows, as the line of music with this number from 0, have equally many bars.
    """
    groups: list[list[_Rows]] = []
    for line in lines:
        if (
            groups
            and _lacks_its_melody(line, groups[-1][-1])
            and agree(len(groups), [*groups[-1][-1], *line])
        ):
            groups[-1].append(line)
        else:
            groups.append([line])
    halves = _halves(groups)
    whole = any({"chords", "melody"} <= _labels(group) for group in groups)
    paired = all({"chords", "melody"} <= _labels(half) for half in halves)
    if whole or not paired or not all(agree(index, _rows(half)) for index, half in enumerate(halves)):
        return groups
    return halves


def _lacks_its_melody(line: _Rows, above: _Rows) -> bool:
    """Return whether a line has nothing but words, and the one above has the melody that they need."""
    return (
        all(row.name == "words" for row in line)
        and any(row.name == "melody" for row in above)
        and not any(row.label == other.label for row in line for other in above)
    )


def _halves(groups: list[list[_Rows]]) -> list[list[_Rows]]:
    """Return groups put together as long as no row comes twice."""
    joined: list[list[_Rows]] = []
    for group in groups:
        if joined and not _labels(joined[-1]) & _labels(group):
            joined[-1] = joined[-1] + group
        else:
            joined.append(group)
    return joined


def _rows(group: Iterable[_Rows]) -> _Rows:
    return [row for line in group for row in line]


def _labels(group: Iterable[_Rows]) -> set[str]:
    return {row.label for row in _rows(group)}
