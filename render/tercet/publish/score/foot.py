"""The foot of a sheet: how to read it, and how to practise with the recordings.

Lengths are in points, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tercet.arranging import Arrangement
from tercet.arranging.off_neck import explained
from tercet.publish.canvas import Ink, Path, Text
from tercet.publish.paragraphs import wrapped
from tercet.publish.pictures.looks import FAINT, TEXT, TEXT_SOFT
from tercet.publish.score.head import Block
from tercet.tracks.recipes import recipe_named

__all__ = ["sheet_foot"]

SIZE, LINE, HEADING = 7.8, 9.8, 10.0
COLUMN_GAP = 18.0

READING_PART = 0.31
"""Of the width, for each of the two columns on reading."""

PRACTICE = (
    "demo", "only-melody", "without-melody", "without-tune", "only-strums", "without-strums", "without-between"
)  # fmt: skip
"""Tracks in the order in which a student meets them: listen, learn the tune, carry it, then the back."""


def sheet_foot(arrangement: Arrangement, width: float, *, large: bool) -> Block:
    """Return the foot of a sheet, `width` points wide."""
    reading_width, step = READING_PART * width - COLUMN_GAP, READING_PART * width
    lines = _set(_reading(arrangement, large=large), reading_width)
    begins = [at for at, line in enumerate(lines) if line.begins]
    middle = min(begins, key=lambda at: abs(2 * at - len(lines)))
    practice_width = width - 2 * step
    texts = [
        *_column("Reading this sheet", lines[:middle], 0.0),
        *_column("", lines[middle:], step),
        *_column("Practising with the recordings", _set(_practising(), practice_width), 2 * step),
    ]
    rule = Path(((0.0, 4.0), (width, 4.0)), Ink(stroke=FAINT, width=0.8))
    return Block((rule, *texts), max(text.y for text in texts) + 4.0)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of a paragraph; whether it is the first."""

    text: str
    begins: bool


def _set(sentences: Iterable[str], width: float) -> list[_Line]:
    """Return sentences as lines, each sentence a paragraph."""
    return [
        _Line(line, index == 0)
        for sentence in sentences
        for index, line in enumerate(wrapped(sentence, SIZE, width, 8))
    ]


def _column(heading: str, lines: Iterable[_Line], x: float) -> Iterator[Text]:
    """Yield a heading, which may be empty, and lines under it."""
    y = 18.0
    if heading:
        yield Text(x, y, heading, HEADING, TEXT, bold=True, name="heading")
    y += 3.0
    for line in lines:
        y += LINE + 1.2 * line.begins
        yield Text(x, y, line.text, SIZE, TEXT_SOFT, name="small print")


def _reading(arrangement: Arrangement, *, large: bool) -> Iterator[str]:
    """Yield how to read the sheet, only what this one needs."""
    gestures = arrangement.gestures
    yield "Tab: string 1 on top, string 4 at the bottom. A number is a fret, 0 an open string."
    yield from explained(arrangement)
    if any(gesture.action == "roll" for gesture in gestures):
        yield (
            "An arrow is a roll over just the strings beside it: the thumb stops on the tune. The top line is string "
            "1, so the arrow points up the page while the hand goes down."
        )
    yield "Near is loud, far is soft: large for melody, plain for what lies between, small and pale for strums."
    if not large:
        if any(gesture.layer == "strums" for gesture in gestures):
            yield "strum: d down, u up, x chop; D and U with an accent."
        yield "count: say it at each stroke. finger: on the tune's string, 1 index to 4 little."
    yield "bar: its number in the whole piece, one for each time it is played."


def _practising() -> Iterator[str]:
    """Yield the tracks in practice order, each with its purpose."""
    for count, name in enumerate(PRACTICE, 1):
        yield f"{count}  {name}: {recipe_named(name).purpose}"
    yield "Begin slowly. Rest a hand that hurts."
