"""The rows of a section from all its playings: what they share stands once, what differs is written for its passes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

from tercet.exchange.bars import BarContent, Playing
from tercet.song import ChordSpan, Line, Row, RowName, Section

__all__ = ["section_of"]

_ROWS: tuple[RowName, ...] = ("chords", "melody", "words", "marks")
_BARS_A_LINE = 4
"""Where the source has no lines of its own."""

_FEWEST_BARS_A_LINE, _MOST_BARS_A_LINE = 2, 8
"""Lines of the source that are kept: a line is a phrase, and has to be read at a glance."""

_WIDEST_LINE = 320
"""Columns that the music of a line may take before it is divided."""

Cell = tuple[Any, ...] | None


def section_of(name: str, passes: Sequence[Playing], *, keep_lines: bool = False) -> Section:
    """Return a section.

    Parameters
    ----------
    name
        What it is called.
    passes
        Its playings, in order; all have a pick-up of the same length and the same number of bars.
    keep_lines
        Whether lines start exactly where the file starts them; else where that gives lines of two to eight bars.
    """
    pickup_beat = passes[0].pickup_beat
    bars = [
        _explicit([playing.bars[index] for playing in passes], index, passes)
        for index in range(len(passes[0].bars))
    ]
    pickups = [playing.pickup for playing in passes if playing.pickup is not None]
    lines = []
    for low, high in _line_places(bars, keep_lines):
        rows = []
        for row in _ROWS:
            cells = [[getattr(content, row) for content in contents] for contents in bars[low:high]]
            lead = [getattr(pickup, row) for pickup in pickups] if low == 0 and pickups else None
            rows += _rows(row, cells, lead, len(passes))
        lines.append(Line(tuple(rows)))
    return Section(name, tuple(lines), pickup_beat)


def _explicit(contents: list[BarContent], index: int, passes: Sequence[Playing]) -> list[BarContent]:
    """Return a bar on each pass, a chord that only goes on written out where the passes differ."""
    if all(content.chords == contents[0].chords for content in contents):
        return contents
    return [
        content if content.chords is not None else replace(content, chords=(_chord_going_on(playing, index),))
        for content, playing in zip(contents, passes, strict=True)
    ]


def _chord_going_on(playing: Playing, index: int) -> ChordSpan:
    length = sum((note.length_beat for note in playing.bars[index].melody), Fraction(0))
    earlier = [
        bar.chords for bar in (playing.pickup, *playing.bars[:index]) if bar is not None and bar.chords
    ]
    return replace(earlier[-1][-1], start_beat=Fraction(0), length_beat=length)


def _rows(name: RowName, cells: list[list[Cell]], lead: list[Cell] | None, passes: int) -> list[Row]:
    """Return the plain row of a line, if it has anything, and a row for each way in which passes differ from it."""
    plain = [_shared(cell) for cell in cells]
    plain_lead = _shared(lead) if lead is not None else None
    rows = []
    if any(cell is not None for cell in (*plain, plain_lead)):
        rows.append(Row(name, (), tuple(plain), plain_lead))
    own: dict[tuple[Cell, ...], list[int]] = {}
    for number in range(passes):
        differing = tuple(
            None if cell is None or cell[number] == shared else cell[number]
            for cell, shared in zip([lead, *cells], [plain_lead, *plain], strict=True)
        )
        if any(cell is not None for cell in differing):
            own.setdefault(differing, []).append(number + 1)
    rows += [Row(name, tuple(numbers), differing[1:], differing[0]) for differing, numbers in own.items()]
    return rows


def _shared(cell: list[Cell]) -> Cell:
    """Return what stands in the plain row: what most passes have, unless some pass has nothing there."""
    if all(each == cell[0] for each in cell):
        return cell[0]
    if any(each is None for each in cell):
        return None
    return Counter(cell).most_common(1)[0][0]


def _line_places(bars: list[list[BarContent]], exact: bool) -> list[tuple[int, int]]:
    """Return where each line of music starts and ends, in bars."""
    starts = [index for index, contents in enumerate(bars) if contents[0].new_line]
    edges = sorted({0, *starts, len(bars)})
    if exact:
        return list(pairwise(edges))
    widths = [max(map(_width, contents)) for contents in bars]
    lines = pairwise(_fours(0, len(bars)) if _says_little(starts, edges) else _sensible(edges))
    return [part for low, high in lines for part in _no_wider(low, high, widths)]


def _says_little(starts: list[int], edges: list[int]) -> bool:
    """Return whether a source has no lines of its own, or mostly lines of a single bar."""
    lengths = [high - low for low, high in pairwise(edges)]
    return not starts or (len(lengths) > 1 and 2 * lengths.count(1) >= len(lengths))


def _fours(low: int, high: int) -> list[int]:
    """Return the edges of lines of four bars; a single bar that is left over joins the line before it."""
    starts = [low, *range(low + _BARS_A_LINE, high - 1, _BARS_A_LINE)]
    return [*starts, high]


def _sensible(edges: list[int]) -> list[int]:
    """Return the edges of the source's lines, single bars joined to the line before them, long lines divided."""
    kept = edges[:1]
    for low, high in pairwise(edges[1:]):
        if high - low > 1 or low - kept[-1] >= _MOST_BARS_A_LINE:
            kept.append(low)
    if len(kept) > 1 and kept[1] == edges[0] + 1:
        del kept[1]
    found = [*kept, edges[-1]]
    parts = [
        _fours(low, high)[:-1] if high - low > _MOST_BARS_A_LINE else [low] for low, high in pairwise(found)
    ]
    return [*(place for part in parts for place in part), edges[-1]]


def _no_wider(low: int, high: int, widths: list[int]) -> list[tuple[int, int]]:
    """Return a line, or its halves while it is too wide and they have two bars or more."""
    if sum(widths[low:high]) <= _WIDEST_LINE or high - low < 2 * _FEWEST_BARS_A_LINE:
        return [(low, high)]
    middle = low + (high - low + 1) // 2
    return [*_no_wider(low, middle, widths), *_no_wider(middle, high, widths)]


def _width(bar: BarContent) -> int:
    """Return about how many columns a bar takes."""
    notes = sum(2 + (0 if note.length_beat == 1 else 2 + len(str(note.length_beat))) for note in bar.melody)
    words = sum(len(syllable.text) + 1 for syllable in bar.words or ())
    return 3 + max(notes, words)
