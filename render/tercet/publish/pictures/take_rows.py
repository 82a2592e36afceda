"""Rows of the picture: each line of music of the take, as played."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from math import ceil

from tercet.arranging import Arrangement
from tercet.performing import PlayedBar, Take, TakeNote
from tercet.song import Bar
from tercet.wording import nth_time

__all__ = ["PictureRow", "SungSyllable", "picture_rows"]

LONGEST_ROW_S = 13.0
"""A line of music that lasts longer is wrapped at bar lines into rows of about the same length."""


@dataclass(frozen=True, slots=True)
class SungSyllable:
    """A syllable as printed, and when its note is struck, in seconds of the take."""

    onset_s: float
    text: str


@dataclass(frozen=True, slots=True)
class PictureRow:
    """One row.

    Parameters
    ----------
    played, bars
        Its bars as they fall in the take, and as written; one for one.
    notes
        What is played in them, in order of onset.
    syllables
        The words, in order.
    heading
        Name of the section and its pass, where a playing of a section begins; else empty.
    """

    played: tuple[PlayedBar, ...]
    bars: tuple[Bar, ...]
    notes: tuple[TakeNote, ...]
    syllables: tuple[SungSyllable, ...]
    heading: str

    @property
    def start_s(self) -> float:
        """When the row begins, in seconds of the take."""
        return self.played[0].start_s

    @property
    def end_s(self) -> float:
        """When it ends."""
        return self.played[-1].end_s


def picture_rows(take: Take, arrangement: Arrangement) -> tuple[PictureRow, ...]:
    """Return the rows of a take of an arrangement, in order."""
    written = {bar.number: bar for bar in arrangement.bars}
    bars = [written[played.number] for played in take.bars]
    passes = {bar.section: bar.pass_number for bar in arrangement.bars}
    rows: list[PictureRow] = []
    for indices in _indices_by_row(take.bars, bars):
        first = bars[indices.start]
        before = bars[indices.start - 1] if indices.start else None
        begins = before is None or _visit(before) != _visit(first) or before.section_bar >= first.section_bar
        notes = tuple(note for note in take.notes if note.bar_index in indices)
        rows.append(
            PictureRow(
                take.bars[indices.start : indices.stop],
                tuple(bars[indices.start : indices.stop]),
                notes,
                tuple(syllable for index in indices for syllable in _syllables(take, index, bars[index])),
                _heading(first, passes[first.section]) if begins else "",
            )
        )
    return tuple(rows)


def _visit(bar: Bar) -> tuple[str, int]:
    return bar.section, bar.pass_number


def _heading(bar: Bar, passes: int) -> str:
    return bar.section if passes == 1 else f"{bar.section}, {nth_time(bar.pass_number)}"


def _indices_by_row(played: Sequence[PlayedBar], bars: Sequence[Bar]) -> Iterator[range]:
    """Yield the indices of the bars of each row: a line of one playing of a section, or even parts of a long one."""

    def line_of(index: int) -> tuple[str, int, int, int]:
        return *_visit(bars[index]), bars[index].line, played[index].number - index

    for _, run in groupby(range(len(bars)), key=line_of):
        line = list(run)
        length_s = played[line[-1]].end_s - played[line[0]].start_s
        parts = min(ceil(length_s / LONGEST_ROW_S), len(line))
        cuts = [line[0] + len(line) * part // parts for part in range(parts + 1)]
        yield from (range(start, end) for start, end in pairwise(cuts))


def _syllables(take: Take, index: int, bar: Bar) -> Iterator[SungSyllable]:
    """Yield the words of a bar, each when the tune's note of its place is struck."""
    played = take.bars[index]
    struck = {
        note.beat: note.onset_s for note in take.notes if note.bar_index == index and note.part == "tune"
    }
    for at_beat, syllable in bar.words:
        if not syllable.holds:
            even_s = played.start_s + (played.end_s - played.start_s) * float(at_beat / bar.length_beat)
            onset_s = struck.get(bar.start_beat + at_beat, even_s)
            yield SungSyllable(onset_s, syllable.text + ("-" if syllable.joined else ""))
