"""Lines of music: the source's own where they make lines of two to eight bars, else lines of four."""

from __future__ import annotations

import pytest

from tercet.exchange import LeadSheet, imported_text
from tercet.exchange.abc import read_abc
from tercet.exchange.musicxml import read_musicxml
from tests.exchange.musicxml.scores import note, score, start

BAR = "GABc"

NEW_SYSTEM = '<print new-system="yes"/>'


def lengths(sheet: LeadSheet) -> list[list[int]]:
    """Return how many bars each line of each section has."""
    song = imported_text(sheet, "tune")[1]
    return [[len(line.rows[0].bars) for line in section.lines] for section in song.sections]


def abc(*lines: int, pickup: str = "") -> LeadSheet:
    """Return a tune with lines of so many bars, each with a pick-up if one is given, the last bar short of it."""
    bars = [[BAR] * count for count in lines]
    if pickup:
        bars = [[*line[:-1], BAR[:-1]] for line in bars]
    music = "\n".join(f"{pickup}|{'|'.join(line)}|" if pickup else f"{'|'.join(line)}|" for line in bars)
    return read_abc(f"X:1\nT:Lines\nM:4/4\nL:1/4\nK:G\n{music}\n".encode(), "tune")


@pytest.mark.parametrize(
    ("source", "written"),
    [
        ((4, 4), [4, 4]),
        ((5, 3, 2), [5, 3, 2]),
        ((8, 8), [8, 8]),
        ((6,), [6]),
        ((1,) * 8, [4, 4]),  # a line a bar says nothing of phrases
        ((1,) * 9, [4, 5]),
        ((4, 1, 4), [5, 4]),
        ((1, 4, 4), [5, 4]),
        ((4, 4, 1), [4, 5]),
        ((16, 3), [4, 4, 4, 4, 3]),
        ((1,), [1]),
    ],
)
def test_lines_of_abc(source: tuple[int, ...], written: list[int]) -> None:
    assert lengths(abc(*source)) == [written]


def test_a_pick_up_goes_with_the_line_before() -> None:
    assert lengths(abc(4, 4, 4, pickup="G")) == [[4, 4, 4]]


@pytest.mark.parametrize(
    ("count", "breaks", "written"),
    [(12, {}, [4, 4, 4]), (10, {}, [4, 4, 2]), (9, {}, [4, 5]), (12, {0, 3, 6}, [3, 3, 6]), (3, {}, [3])],
)
def test_lines_of_scores(count: int, breaks: set[int], written: list[int]) -> None:
    measures = [
        (start(1, 0, 3, 4) if index == 0 else "")
        + (NEW_SYSTEM if index in breaks else "")
        + note("G4", 1)
        + note("A4", 2)
        for index in range(count)
    ]
    assert lengths(read_musicxml(score(*measures), "tune")) == [written]


def test_a_line_that_is_too_wide_is_divided_but_never_into_single_bars() -> None:
    wide = "|".join(["GABcdedBGABcdedB"] * 8)
    sheet = read_abc(f"X:1\nT:Wide\nM:4/4\nL:1/16\nK:G\n{wide}|\n".encode(), "tune")
    assert lengths(sheet) == [[2, 2, 2, 2]]
