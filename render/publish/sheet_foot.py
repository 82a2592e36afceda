"""The foot of a sheet: how to read it, and how to practise with the recordings.

Lengths are in points, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Iterator

from render.arrange import Arrangement
from render.publish.canvas import Ink, Path, Shape, Text
from render.publish.looks import FAINT, TEXT, TEXT_SOFT
from render.publish.paragraphs import wrapped
from render.publish.sheet_head import Block
from render.tracks.recipes import recipe_named

__all__ = ["sheet_foot"]

SIZE, LINE, HEADING = 8.6, 11.6, 10.5
COLUMN_GAP = 26.0

PRACTICE = ("demo", "only-melody", "without-melody", "only-strums", "without-strums", "without-between")
"""Tracks in the order in which a student meets them: listen, learn the tune, carry it, then the back."""


def sheet_foot(arrangement: Arrangement, width: float, *, large: bool) -> Block:
    """Return the foot of a sheet, `width` points wide."""
    column = (width - COLUMN_GAP) / 2
    left = list(_column("Reading this sheet", _reading(arrangement, large=large), 0.0, column))
    right = list(_column("Practising", _practising(), column + COLUMN_GAP, column))
    bottom = max((shape.y for shape in (*left, *right)), default=0.0)
    rule = Path(((0.0, 4.0), (width, 4.0)), Ink(stroke=FAINT, width=0.8))
    return Block((rule, *left, *right), bottom + 6.0)


def _column(heading: str, sentences: Iterator[str], x: float, width: float) -> Iterator[Text]:
    y = 20.0
    yield Text(x, y, heading, HEADING, TEXT, bold=True, name="heading")
    y += 3.0
    for sentence in sentences:
        for line in wrapped(sentence, SIZE, width, 6):
            y += LINE
            yield Text(x, y, line, SIZE, TEXT_SOFT, name="small print")
        y += 1.6


def _reading(arrangement: Arrangement, *, large: bool) -> Iterator[str]:
    """Yield how to read the sheet, only what this one needs."""
    gestures = arrangement.gestures
    yield "The tab: four lines, string 1 on top, string 4 at the bottom. A number is a fret, 0 an open string."
    if any(gesture.action == "roll" for gesture in gestures):
        yield (
            "An arrow is a roll: the thumb falls over just the strings beside it and stops on the tune. As string 1 is "
            "the tab's top line, the arrow points up the page while the hand goes down."
        )
    yield (
        "Near is loud, far is soft: the tune's numbers are large and heavy, those of single notes plain, those of "
        "strums small and light."
    )
    if not large:
        if any(gesture.layer == "strums" for gesture in gestures):
            yield "strum: d down, u up, x chop (strings damped); D and U with an accent."
        yield "count: what to count at each stroke. finger: on the tune's string, 1 index to 4 little."
    yield "bar: its number in the whole piece, once for each time it is played."


def _practising() -> Iterator[str]:
    """Yield the tracks in practice order, each with its purpose."""
    yield "The recordings of this song, in a good order; each is there slowly, too, if your teacher made it so:"
    for count, name in enumerate(PRACTICE, 1):
        yield f"{count}. {name}: {recipe_named(name).purpose}."
    yield "Rest a hand that hurts, and keep headphones low."
