"""The hardest bars for these hands, as short stretches to practise.

Which bars are hard is what the report says (`tercet.arranging.report.HARDNESS`), so that `tercet check` and the tracks
to learn from name the same ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from tercet.arranging.model import Arrangement, Gesture
from tercet.arranging.report import report_of
from tercet.errors import ParameterError
from tercet.song import Bar

__all__ = ["HardStretch", "hardest_bars"]

MOST_BARS = 2
"""A stretch longer than this isn't practised, but played."""


@dataclass(frozen=True, slots=True)
class HardStretch:
    """One or two hard bars in a row, and the note that they lead into.

    Parameters
    ----------
    first, last
        Indices into the arrangement's bars, both included.
    into_beat
        Where the note that they lead into is struck, in beats of the piece as played: the first of the tune in the bar
        that follows. None where nothing follows, or nothing of the tune is struck there.
    cost
        How hard its hardest bar is, as the report counts, wherever that bar is hardest.
    """

    first: int
    last: int
    into_beat: Fraction | None
    cost: float


@dataclass(frozen=True, slots=True)
class _HardBar:
    """A bar's index, and how hard it is."""

    index: int
    cost: float


def hardest_bars(arrangement: Arrangement, count: int = 4) -> tuple[HardStretch, ...]:
    """Return the hardest bars of a piece, those in a row joined by twos.

    Bars with the same notes, strokes and shapes count once: where they first come, and as hard as the hardest of them.
    Strums don't tell bars apart, nor does the pick-up of a section that follows. Bars in which neither tune nor added
    notes are struck aren't hard. A pick-up at the very start is practised with the bar that it leads into.

    Parameters
    ----------
    arrangement
        What is played.
    count
        How many different bars are chosen, at least 1; a short piece may have fewer.

    Returns
    -------
    tuple of HardStretch
        In order of the piece, none sharing a bar with another; at least one, if need be the first bar of a piece in
        which nothing is struck.

    Raises
    ------
    ParameterError
        `count` is less than 1.
    """
    if count < 1:
        raise ParameterError(f"the number of hard bars must be 1 or more (got {count})")
    chosen = _different_bars(arrangement, count) or [_HardBar(0, 0.0)]
    return tuple(_stretch(bars, arrangement) for bars in _in_rows(chosen, arrangement))


def _different_bars(arrangement: Arrangement, count: int) -> list[_HardBar]:
    """Return so many of the hardest bars with different music, each where it first comes, the hardest first."""
    music = _music(arrangement)
    first: dict[object, int] = {}
    for index, played in enumerate(music):
        first.setdefault(played, index)
    indices = {bar.number: index for index, bar in enumerate(arrangement.bars)}
    chosen: dict[int, _HardBar] = {}
    for hard in report_of(arrangement).hardest_bars:
        played = music[indices[hard.bar_number]]
        if played:
            chosen.setdefault(first[played], _HardBar(first[played], hard.cost))
    return list(chosen.values())[:count]


def _music(arrangement: Arrangement) -> list[tuple[object, ...]]:
    """Return for each bar what is struck of tune and added notes: where, how long, on which strings, in which shape.

    The pick-up of a section that follows isn't the bar's own: it counts only where the bar has nothing else.
    """

    def struck(bar: Bar, *, led_in: bool) -> tuple[object, ...]:
        return tuple(
            (gesture.start_beat - bar.start_beat, gesture.length_beat, gesture.notes, gesture.shape)
            for gesture in arrangement.by_bar[bar.number]
            if gesture.layer != "strums" and led_in == (gesture.section_bar == 0)
        )

    return [struck(bar, led_in=False) or struck(bar, led_in=True) for bar in arrangement.bars]


def _in_rows(chosen: Sequence[_HardBar], arrangement: Arrangement) -> Iterator[Sequence[_HardBar]]:
    """Yield the chosen bars in order of the piece, those that follow each other together, at most `MOST_BARS`."""
    bars = {bar.index: bar for bar in chosen}
    opening = arrangement.bars[0]
    if 0 in bars and opening.section_bar == 0 and len(arrangement.bars) > 1:
        bars.setdefault(1, _HardBar(1, 0.0))
    ordered = [bars[index] for index in sorted(bars)]
    numbered = enumerate(ordered)
    for _, row in groupby(numbered, key=lambda item: item[1].index - item[0]):
        in_row = [bar for _, bar in row]
        for start in range(0, len(in_row), MOST_BARS):
            yield in_row[start : start + MOST_BARS]


def _stretch(bars: Sequence[_HardBar], arrangement: Arrangement) -> HardStretch:
    last = bars[-1].index
    into = _tune_of_bar(last + 1, arrangement)
    return HardStretch(
        bars[0].index,
        last,
        into[0].start_beat if into else None,
        max(bar.cost for bar in bars),
    )


def _tune_of_bar(index: int, arrangement: Arrangement) -> list[Gesture]:
    """Return the strokes of the tune in a bar, in order; none past the end of the piece."""
    if index >= len(arrangement.bars):
        return []
    gestures = arrangement.by_bar[arrangement.bars[index].number]
    return [gesture for gesture in gestures if gesture.notes[-1].part == "tune"]
