"""Rows of a handout: bars side by side, each column as wide as what stands in it and as its time asks.

Lengths are in drawing units of a picture 1080 high. A row holds one line of music, or several of a section
that fit beside each other; a line that is too wide goes on in the next row.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.arranging import Gesture
from tercet.publish.paragraphs import shortened
from tercet.publish.pictures.handout_bars import Column, HandoutBar, HandoutLine
from tercet.publish.typefaces import text_width_em

__all__ = ["CHORD_SIZE", "DIGIT_SIZE", "TUNE_SIZE", "WORD_SIZE", "PlacedColumn", "Row", "handout_rows"]

DIGIT_SIZE = 38.0
"""A digit is 0.714 ems high: 27.1 units, a fortieth of the picture's height."""

TUNE_SIZE, CHORD_SIZE, WORD_SIZE = 42.0, 38.0, 36.0
SMALLEST_WORD = 26.0
"""Words shrink so far where a bar would be wider than a row; not where they hold digits."""

LONGEST_WORD = 420.0
"""A syllable that is wider is cut short."""

BAR_LEAD = 16.0
"""From a bar line to the first column."""

ARROW_LEAD = 26.0
"""What the arrow of a roll takes before its digits."""

GAP = 12.0
"""Between one column's contents and the next column."""

WIDEST_STRETCH = 1.0
"""A row that isn't full is stretched by at most this part of its width."""


@dataclass(frozen=True, slots=True)
class PlacedColumn:
    """A column, where it begins, and where its digits have their middle."""

    column: Column
    x: float
    digit_x: float


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a handout.

    Parameters
    ----------
    label, time
        Name of the section where it opens, and which time it is played where it isn't the first; else empty and 0.
    first_bar
        Number of its first bar.
    columns
        From left to right.
    bar_lines
        Where bars end.
    right
        Where it ends.
    verses
        How many rows of words it has.
    word_size
        Font size of the words.
    bar_numbers
        Bars that are shown in it.
    """

    label: str
    time: int
    first_bar: int
    columns: tuple[PlacedColumn, ...]
    bar_lines: tuple[float, ...]
    right: float
    verses: int
    word_size: float
    bar_numbers: tuple[int, ...]


def handout_rows(lines: Sequence[HandoutLine], left: float, width: float) -> tuple[Row, ...]:
    """Return the rows of lines of music, each beginning at `left` and at most `width` wide."""
    rows = []
    for line in _joined(lines, width):
        label = line.section if line.opens or line.pass_number > 1 else ""
        for index, bars in enumerate(_split(line.bars, width)):
            time = line.pass_number if line.pass_number > 1 else 0
            row = _row(bars, left, width)
            rows.append(replace(row, label=label, time=time) if index == 0 else row)
    return tuple(rows)


def _joined(lines: Sequence[HandoutLine], width: float) -> Iterator[HandoutLine]:
    """Yield lines; those that go on from each other and fit beside each other are one."""
    waiting: HandoutLine | None = None
    for line in lines:
        if waiting is not None:
            follows = (waiting.section, waiting.pass_number, waiting.bar_numbers[-1] + 1) == (
                line.section,
                line.pass_number,
                line.bar_numbers[0],
            )
            if follows and _width((*waiting.bars, *line.bars), WORD_SIZE) <= width:
                numbers = (*waiting.bar_numbers, *line.bar_numbers)
                waiting = replace(waiting, bars=(*waiting.bars, *line.bars), bar_numbers=numbers)
                continue
            yield waiting
        waiting = line
    if waiting is not None:
        yield waiting


def _split(bars: Sequence[HandoutBar], width: float) -> Iterator[list[HandoutBar]]:
    """Yield bars row by row, about the same number in each; a bar that is wider than a row is cut in pieces."""
    pieces = [piece for bar in bars for piece in _pieces(bar, width)]
    wide = [_width([piece], WORD_SIZE) for piece in pieces]
    rest = sum(wide)
    share = max(rest / -(-rest // width), 1.0)
    row: list[HandoutBar] = []
    used = 0.0
    for piece, more in zip(pieces, wide, strict=True):
        even = used + 0.5 * more > share and rest > 0.5 * share
        if row and (used + more > width or even):
            yield row
            row, used = [], 0.0
        row.append(piece)
        used, rest = used + more, rest - more
    if row:
        yield row


def _pieces(bar: HandoutBar, width: float) -> Iterator[HandoutBar]:
    """Yield a bar, or its parts where it is wider than a row even with small words."""
    if _width([bar], _word_size([bar], width)) <= width:
        yield bar
        return
    piece: list[Column] = []
    for column in bar.columns:
        if piece and _width([HandoutBar(bar.number, (*piece, column))], WORD_SIZE) > width:
            yield HandoutBar(bar.number, tuple(piece), goes_on=True)
            piece = []
        piece.append(column)
    yield HandoutBar(bar.number, tuple(piece))


def _word_size(bars: Sequence[HandoutBar], width: float) -> float:
    """Return the largest size of words with which bars fit, or the smallest."""
    words = "".join(word for bar in bars for column in bar.columns for word in column.words)
    if any(sign.isdigit() for sign in words):
        return DIGIT_SIZE
    size = WORD_SIZE
    while size > SMALLEST_WORD and _width(bars, size) > width:
        size -= 2.0
    return size


def _row(bars: Sequence[HandoutBar], left: float, width: float) -> Row:
    """Return a row of bars, stretched to the width; time takes what there is to spare."""
    size = _word_size(bars, width)
    natural = _width(bars, size)
    spare = min(max(width - natural, 0.0), WIDEST_STRETCH * natural)
    beats = sum((column.length_beat for bar in bars for column in bar.columns), Fraction(0))
    x = left
    placed, lines = [], []
    for bar in bars:
        x += BAR_LEAD
        for column in bar.columns:
            placed.append(PlacedColumn(column, x, x + _lead(column) + 0.5 * _digits_width(column)))
            x += _column_width(column, size) + spare * float(column.length_beat / beats)
        if not bar.goes_on:
            lines.append(x)
    sung = [verse for each in placed for verse, word in enumerate(each.column.words, 1) if word]
    numbers = tuple(dict.fromkeys(bar.number for bar in bars))
    return Row("", 0, bars[0].number, tuple(placed), tuple(lines), x, max(sung, default=0), size, numbers)


# ---- widths


def _width(bars: Sequence[HandoutBar], word_size: float) -> float:
    columns = sum(_column_width(column, word_size) for bar in bars for column in bar.columns)
    return columns + BAR_LEAD * len(bars)


def _column_width(column: Column, word_size: float) -> float:
    """Return how wide a column is at least."""
    words = max((word_width(word, word_size) for word in column.words), default=0.0)
    chord = text_width_em(column.chord, "bold") * CHORD_SIZE
    return max(_lead(column) + _digits_width(column), words, chord) + GAP


def word_width(word: str, size: float) -> float:
    """Return how wide a word of the handout is."""
    return min(text_width_em(word) * size, LONGEST_WORD)


def shown_word(word: str, size: float) -> str:
    """Return a word as it is written: cut short where it is too long for any column."""
    return shortened(word, LONGEST_WORD / size)


def _lead(column: Column) -> float:
    """Return what stands before the digits: the arrow of a roll."""
    return ARROW_LEAD if any(stroke.action == "roll" for stroke in column.strokes) else 0.0


def _digits_width(column: Column) -> float:
    """Return how wide the digits are; a strum takes an arrow's width."""
    return max((_stroke_width(stroke) for stroke in column.strokes), default=16.0)


def _stroke_width(stroke: Gesture) -> float:
    if stroke.layer == "strums":
        return 22.0
    return max(
        text_width_em(note.shown, "bold") * (TUNE_SIZE if note.part == "tune" else DIGIT_SIZE)
        for note in stroke.notes
    )
