"""The marks of the piece in order, each with the playing of a section that it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tercet.song import Bar, Layer, MarkKind

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
    ends = _visit_ends(bars)
    marks = []
    for index, bar in enumerate(bars):
        for mark in bar.marks:
            led_in = bar.section_bar > 0 and mark.at_beat >= bar.pickup_from and index + 1 < len(bars)
            end = ends[index + 1 if led_in else index]
            marks.append(PlacedMark(bar.start_beat + mark.at_beat, mark.kind, mark.value, mark.layer, end))
    return tuple(sorted(marks, key=lambda mark: mark.beat))


def _visit_ends(bars: Sequence[Bar]) -> list[Fraction]:
    """Return for each bar where the playing of its section ends."""
    ends: list[Fraction] = []
    following: Bar | None = None
    for bar in reversed(bars):
        if following is None:
            ends.append(bar.start_beat + bar.length_beat)
        elif (bar.section, bar.pass_number) != (following.section, following.pass_number):
            ends.append(bar.start_beat + bar.pickup_from)
        else:
            ends.append(ends[-1])
        following = bar
    return ends[::-1]
