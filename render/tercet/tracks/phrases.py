"""Where phrases and lines begin and end, in beats: what is echoed, taken in turns, or played over and over."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tercet.arranging import Arrangement
from tercet.arranging.piece import phrase_starts
from tercet.song import played_visits

__all__ = ["BeatRange", "bar_ranges", "phrase_ranges", "section_ranges", "whole_range"]


@dataclass(frozen=True, slots=True)
class BeatRange:
    """Some beats of the piece as played, in a row.

    Parameters
    ----------
    start_beat, end_beat
        From where up to where; on bar lines, but for phrases that begin within a bar.
    section, pass_number
        Where it begins.
    """

    start_beat: Fraction
    end_beat: Fraction
    section: str
    pass_number: int


def whole_range(arrangement: Arrangement) -> BeatRange:
    """Return the whole piece."""
    return _range(arrangement, 0, len(arrangement.bars) - 1)


def bar_ranges(arrangement: Arrangement) -> tuple[BeatRange, ...]:
    """Return the bars of the piece; a pick-up goes with the bar that it leads into."""
    bars = arrangement.bars
    firsts = [index for index in range(len(bars)) if index == 0 or bars[index - 1].section_bar != 0]
    return _between(arrangement, firsts)


def section_ranges(arrangement: Arrangement) -> tuple[BeatRange, ...]:
    """Return each playing of a section, in the order played; it begins with its pick-up."""
    return tuple(
        BeatRange(visit.start_beat, visit.end_beat, visit.section, visit.pass_number)
        for visit in played_visits(arrangement.bars)
    )


def phrase_ranges(arrangement: Arrangement) -> tuple[BeatRange, ...]:
    """Return the phrases of the piece, one beginning where the other ends: after a breath, else with a line of music.

    A section's first phrase begins with its pick-up.
    """
    starts = {beats.start_beat for beats in section_ranges(arrangement)}
    bar_starts = [bar.start_beat for bar in arrangement.bars]
    starts.update(phrase_starts(arrangement.bars))
    end = arrangement.bars[-1].start_beat + arrangement.bars[-1].length_beat
    return tuple(
        _named(arrangement, bar_starts, start, stop) for start, stop in pairwise([*sorted(starts), end])
    )


def _between(arrangement: Arrangement, firsts: list[int]) -> tuple[BeatRange, ...]:
    """Return ranges of whole bars, each from one of some bars up to the next of them."""
    lasts = [*(index - 1 for index in firsts[1:]), len(arrangement.bars) - 1]
    return tuple(_range(arrangement, first, last) for first, last in zip(firsts, lasts, strict=True))


def _range(arrangement: Arrangement, first: int, last: int) -> BeatRange:
    bar, end = arrangement.bars[first], arrangement.bars[last]
    return BeatRange(bar.start_beat, end.start_beat + end.length_beat, bar.section, bar.pass_number)


def _named(arrangement: Arrangement, bar_starts: list[Fraction], start: Fraction, end: Fraction) -> BeatRange:
    bar = arrangement.bars[max(bisect_right(bar_starts, start) - 1, 0)]
    return BeatRange(start, end, bar.section, bar.pass_number)
