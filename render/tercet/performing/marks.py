"""The marks of the piece in order, each with the playing of a section that it belongs to."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tercet.song import Bar, Layer, MarkKind, played_visits

__all__ = ["PlacedMark", "placed_marks"]


@dataclass(frozen=True, slots=True)
class PlacedMark:
    """A mark at its place in the piece as played.

    Parameters
    ----------
    beat
        Where it stands.
    kind, value, layer
        As in `tercet.song.Mark`.
    visit_end_beat
        Where the playing of its section ends: at the next one's pick-up, if that has one. A mark in a pick-up
        belongs to the section that it leads into.
    """

    beat: Fraction
    kind: MarkKind
    value: str
    layer: Layer | None
    visit_end_beat: Fraction


def placed_marks(bars: Sequence[Bar]) -> tuple[PlacedMark, ...]:
    """Return the marks of the piece as played, in order; marks at one place stay in the order written."""
    visits = played_visits(bars)
    starts = [visit.start_beat for visit in visits]
    marks = []
    for bar in bars:
        for mark in bar.marks:
            beat = bar.start_beat + mark.at_beat
            visit = visits[bisect_right(starts, beat) - 1]
            marks.append(PlacedMark(beat, mark.kind, mark.value, mark.layer, visit.end_beat))
    return tuple(sorted(marks, key=lambda mark: mark.beat))
