"""The piece as played, walked once: each playing of a section, its pick-up, and where that takes its time from.

A *visit* is one playing of a section. Its pick-up stands in the end of the bar before it; at the very start of the
piece it is bar 0. So a bar holds one *measure* or two: its own, and the pick-up of the visit that follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby

from tercet.song.model import Bar, ChordSpan, Note

__all__ = ["Measure", "PlayedVisit", "played_visits"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A bar as played, or the part of it before or after the beat where a pick-up begins.

    Parameters
    ----------
    visit
        Which visit of the form it belongs to, from 0; a pick-up belongs to what it leads into.
    section, pass_number, section_bar, line
        Where that is; section bar 0 is the pick-up.
    bar, bar_index
        The bar it is cut from, and that bar's index in the piece as played.
    low_beat, high_beat
        Where in that bar it starts and ends, in beats.
    opens_visit, opens_line
        Whether a playing of a section, or a line of music, starts with it.
    """

    visit: int
    section: str
    pass_number: int
    section_bar: int
    line: int
    bar: Bar = field(compare=False, repr=False)
    bar_index: int
    low_beat: Fraction
    high_beat: Fraction
    opens_visit: bool
    opens_line: bool

    @property
    def start_beat(self) -> Fraction:
        """Where it starts in the piece as played, in beats."""
        return self.bar.start_beat + self.low_beat

    @property
    def end_beat(self) -> Fraction:
        """Where it ends in the piece as played, in beats."""
        return self.bar.start_beat + self.high_beat

    @property
    def length_beat(self) -> Fraction:
        """Length in beats."""
        return self.high_beat - self.low_beat

    @property
    def melody(self) -> tuple[Note, ...]:
        """The notes and rests of the tune that start within it; places count from the bar's start."""
        return tuple(note for note in self.bar.melody if self.holds(note.start_beat))

    @property
    def chords(self) -> tuple[ChordSpan, ...]:
        """The chords that start within it; a pick-up that states none has none. Places count from the bar's start."""
        return tuple(
            span
            for span in self.bar.chords
            if self.holds(span.start_beat) and (self.section_bar or span.chord is not None)
        )

    def holds(self, at_beat: Fraction) -> bool:
        """Whether a place of its bar, in beats from the bar's start, lies within it."""
        return self.low_beat <= at_beat < self.high_beat


@dataclass(frozen=True, slots=True)
class PlayedVisit:
    """One playing of a section.

    Parameters
    ----------
    section, pass_number
        Which section, on which pass.
    first_bar
        Index of the first of its bars in the piece as played.
    bars
        Its bars as played: bar 0 is one of them where the piece starts with it, and the last may end with the pick-up
        of the visit that follows.
    measures
        What belongs to it alone, its pick-up first.
    """

    section: str
    pass_number: int
    first_bar: int
    bars: tuple[Bar, ...]
    measures: tuple[Measure, ...]

    @property
    def pickup(self) -> Measure | None:
        """Its pick-up: the end of the bar before, or bar 0; None without one."""
        return self.measures[0] if self.measures[0].section_bar == 0 else None

    @property
    def last_bar(self) -> int:
        """Index of the last of its bars in the piece as played."""
        return self.first_bar + len(self.bars) - 1

    @property
    def start_beat(self) -> Fraction:
        """Where it starts, with its pick-up, in beats of the piece as played."""
        return self.measures[0].start_beat

    @property
    def end_beat(self) -> Fraction:
        """Where it ends: at the pick-up of the visit that follows, if that has one."""
        return self.measures[-1].end_beat

    @property
    def bar_lines_beat(self) -> tuple[Fraction, Fraction]:
        """The bar lines before the first and after the last of its bars: no pick-up is reckoned with."""
        return self.bars[0].start_beat, self.bars[-1].start_beat + self.bars[-1].length_beat

    @property
    def lines(self) -> tuple[tuple[Bar, ...], ...]:
        """Its bars, line of music by line of music."""
        return tuple(tuple(line) for _, line in groupby(self.bars, key=lambda bar: bar.line))


def played_visits(bars: Sequence[Bar]) -> tuple[PlayedVisit, ...]:
    """Return the playings of sections of a whole piece, in order.

    Parameters
    ----------
    bars
        The piece as `tercet.song.played_bars` gives it.
    """
    visits: list[PlayedVisit] = []
    lead: Measure | None = None
    runs = [
        list(run)
        for _, run in groupby(enumerate(bars), key=lambda item: (item[1].section, item[1].pass_number))
    ]
    for number, run in enumerate(runs):
        measures = [lead] if lead else []
        for index, bar in run:
            end_beat = bar.length_beat if bar.section_bar == 0 else bar.pickup_from
            measures.append(_measure(number, bar, (index, bar), (Fraction(0), end_beat), measures))
        index, last = run[-1]
        lead = None
        if measures[-1].high_beat < last.length_beat and number + 1 < len(runs):
            _, owner = runs[number + 1][0]
            lead = _measure(number + 1, owner, (index, last), (last.pickup_from, last.length_beat), [])
        first = run[0][1]
        visits.append(
            PlayedVisit(
                first.section, first.pass_number, run[0][0], tuple(bar for _, bar in run), tuple(measures)
            )
        )
    return tuple(visits)


def _measure(
    visit: int, owner: Bar, held_by: tuple[int, Bar], beats: tuple[Fraction, Fraction], before: list[Measure]
) -> Measure:
    """Return a measure of the visit that a bar belongs to; `held_by` is where it stands, `before` the visit so far."""
    index, bar = held_by
    return Measure(
        visit,
        owner.section,
        owner.pass_number,
        owner.section_bar if owner is bar else 0,
        owner.line,
        bar,
        index,
        *beats,
        opens_visit=not before,
        opens_line=not before or before[-1].line != owner.line,
    )
