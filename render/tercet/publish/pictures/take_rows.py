"""Rows of the picture: each line of music of the take, as played."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from math import ceil

from tercet.arranging import Arrangement
from tercet.performing import PlayedBar, Take, TakeNote
from tercet.song import Bar

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


@dataclass(frozen=True, slots=True)
class _TakeBar:
    """A bar of the take: its index there, when it is played, and what is written."""

    index: int
    played: PlayedBar
    bar: Bar


def picture_rows(take: Take, arrangement: Arrangement) -> tuple[PictureRow, ...]:
    """Return the rows of a take of an arrangement, in order."""
    written = {bar.number: bar for bar in arrangement.bars}
    passes = {bar.section: bar.pass_number for bar in arrangement.bars}
    rows: list[PictureRow] = []
    before: Bar | None = None
    for chunk in _chunks([_TakeBar(i, played, written[played.number]) for i, played in enumerate(take.bars)]):
        first = chunk[0].bar
        begins = before is None or _visit(before) != _visit(first) or before.section_bar >= first.section_bar
        heading = _heading(first, passes[first.section]) if begins else ""
        indices = {item.index for item in chunk}
        notes = tuple(note for note in take.notes if note.bar_index in indices)
        rows.append(
            PictureRow(
                tuple(item.played for item in chunk),
                tuple(item.bar for item in chunk),
                notes,
                tuple(_syllables(chunk, notes)),
                heading,
            )
        )
        before = chunk[-1].bar
    return tuple(rows)


def _visit(bar: Bar) -> tuple[str, int]:
    return bar.section, bar.pass_number


def _heading(bar: Bar, passes: int) -> str:
    return bar.section if passes == 1 else f"{bar.section}, pass {bar.pass_number}"


def _chunks(bars: Sequence[_TakeBar]) -> Iterator[list[_TakeBar]]:
    """Yield the bars row by row: a line of music, or even parts of one that is long."""
    for line in _lines(bars):
        length_s = line[-1].played.end_s - line[0].played.start_s
        parts = min(ceil(length_s / LONGEST_ROW_S), len(line))
        cuts = [len(line) * part // parts for part in range(parts + 1)]
        for start, end in pairwise(cuts):
            yield line[start:end]


def _lines(bars: Sequence[_TakeBar]) -> Iterator[list[_TakeBar]]:
    """Yield runs of bars that follow each other in one line of one playing of a section."""
    for _, run in groupby(
        bars, key=lambda item: (*_visit(item.bar), item.bar.line, item.played.number - item.index)
    ):
        yield list(run)


def _syllables(chunk: Sequence[_TakeBar], notes: Sequence[TakeNote]) -> Iterator[SungSyllable]:
    """Yield the words, each when the tune's note of its place is struck."""
    struck = {(note.bar_index, note.beat): note.onset_s for note in notes if note.part == "tune"}
    for item in chunk:
        length_s = item.played.end_s - item.played.start_s
        for at_beat, syllable in item.bar.words:
            if syllable.holds:
                continue
            even_s = item.played.start_s + length_s * float(at_beat / item.bar.length_beat)
            onset_s = struck.get((item.index, item.bar.start_beat + at_beat), even_s)
            yield SungSyllable(onset_s, syllable.text + ("-" if syllable.joined else ""))
