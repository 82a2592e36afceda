"""What is read of a file before it becomes measures: stanzas of bars, each bar of equal parts."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from tercet.exchange.leadsheet import LeadChord
from tercet.song import Syllable

__all__ = ["DraftBar", "Part", "Stanza"]


@dataclass(slots=True)
class Part:
    """A part of a bar: the chord that begins with it (None where one goes on), and what is sung on it."""

    chord: LeadChord | None = None
    sung: list[Syllable] = field(default_factory=list)


@dataclass(slots=True)
class DraftBar:
    """A bar, or a pick-up: parts of one length, and the signs that say where to go on.

    `row` is the line of its stanza that it begins in, from 0; `meter` the one that holds; the rest as in `LeadMeasure`.
    """

    line: int
    row: int = 0
    parts: list[Part] = field(default_factory=list)
    meter: tuple[int, int] = (4, 4)
    repeat_start: bool = False
    repeat_times: int = 0
    endings: tuple[int, ...] = ()

    def like(self, line: int, row: int) -> DraftBar:
        """Return a bar with the same chords and no words."""
        parts = [Part(part.chord) for part in self.parts]
        return DraftBar(line, row, parts, self.meter, self.repeat_start, self.repeat_times, self.endings)


@dataclass(slots=True)
class Stanza:
    """What is played without a break: a verse, a chorus, the lines between two empty ones.

    Parameters
    ----------
    kind, label
        What the file calls it; empty where it says nothing.
    name
        What Tercet called it, in files that it wrote.
    bars, pickup
        Its bars, and what comes before the first.
    pickup_beat
        How long the pick-up is, where the file says so.
    """

    line: int
    kind: str = ""
    label: str = ""
    name: str = ""
    bars: list[DraftBar] = field(default_factory=list)
    pickup: DraftBar | None = None
    pickup_beat: Fraction | None = None

    @property
    def rows(self) -> int:
        """How many lines it has."""
        return max((bar.row for bar in self.bars), default=-1) + 1
