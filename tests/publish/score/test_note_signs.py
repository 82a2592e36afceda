"""The tempo's note and the sign of swing."""

from __future__ import annotations

import pytest

from tercet.publish.score.note_signs import pulse_note, swing_sign
from tercet.publish.shapes import Path, Shape, Text
from tercet.song import Meter


def parts(shapes: tuple[Shape, ...]) -> tuple[int, int, int]:
    """Return how many heads and dots are filled, how many heads are hollow, how many lines there are."""
    paths = [shape for shape in shapes if isinstance(shape, Path)]
    closed = [path for path in paths if path.closed]
    filled = sum(bool(path.ink.fill) for path in closed)
    return filled, len(closed) - filled, len(paths) - len(closed)


@pytest.mark.parametrize(
    ("meter", "drawn"),
    [
        (Meter(3, 4), (1, 0, 1)),
        (Meter(2, 2), (0, 1, 1)),
        (Meter(6, 8), (2, 0, 1)),
        (Meter(5, 8), (1, 0, 2)),
        (Meter(7, 16), (1, 0, 3)),
        (Meter(9, 16), (2, 0, 2)),
    ],
)
def test_the_pulse_is_a_note(meter: Meter, drawn: tuple[int, int, int]) -> None:
    shapes, end = pulse_note(meter, 10.0, 20.0, 12.0, "#000000")
    assert parts(shapes) == drawn
    assert 10.0 < end < 10.0 + 12.0


def test_swing_is_two_like_eighths_that_become_long_and_short() -> None:
    shapes, end = swing_sign(10.0, 20.0, 12.0, "#000000", triplet=True)
    assert [shape.text for shape in shapes if isinstance(shape, Text)] == ["=", "3"]
    filled, hollow, _ = parts(shapes)
    assert (filled, hollow) == (5, 0), "four heads and a beam"
    assert end > 10.0


def test_swing_that_is_no_triplet_has_no_3() -> None:
    shapes, _ = swing_sign(10.0, 20.0, 12.0, "#000000", triplet=False)
    assert [shape.text for shape in shapes if isinstance(shape, Text)] == ["="]
