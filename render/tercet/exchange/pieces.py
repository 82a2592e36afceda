"""A song cut into the measures of an export: its bars as played, those with a pick-up at their end in two."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tercet.song import Bar

__all__ = ["Piece", "pieces_of"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One measure of the export: a stretch of a bar as played.

    Parameters
    ----------
    bar
        The bar it is cut from.
    low_beat, high_beat
        Where in the bar it starts and ends.
    section
        The section that starts here; empty when none does.
    new_line
        Whether a line of music starts here.
    """

    bar: Bar
    low_beat: Fraction
    high_beat: Fraction
    section: str
    new_line: bool

    @property
    def start_beat(self) -> Fraction:
        """Place in the piece as played."""
        return self.bar.start_beat + self.low_beat

    @property
    def end_beat(self) -> Fraction:
        """Where it ends in the piece as played."""
        return self.bar.start_beat + self.high_beat


def pieces_of(bars: tuple[Bar, ...]) -> list[Piece]:
    """Return the measures of a piece: its bars, those with the pick-up of a section at their end cut in two."""
    pieces: list[Piece] = []
    opened = False
    for index, bar in enumerate(bars):
        starts = (bar.section_bar in (0, 1)) and not opened
        line_starts = starts or (index > 0 and bar.line != bars[index - 1].line and not opened)
        if bar.section_bar == 0:
            pieces.append(Piece(bar, Fraction(0), bar.length_beat, bar.section, True))
            opened = True
            continue
        pieces.append(Piece(bar, Fraction(0), bar.pickup_from, bar.section if starts else "", line_starts))
        opened = bar.pickup_from < bar.length_beat
        if opened:
            pieces.append(Piece(bar, bar.pickup_from, bar.length_beat, bars[index + 1].section, True))
    return pieces
