"""Folding: which pages lie on which side of paper, so that a stack folded in the middle reads in order."""

from __future__ import annotations

from tercet.publish.pdf import Side

__all__ = ["PAGES_A_SHEET", "booklet_sides", "single_sides"]

PAGES_A_SHEET = 4
"""A sheet of paper folded once has two pages on each of its two sides."""


def single_sides(pages: int) -> tuple[Side, ...]:
    """Return a side for each page."""
    return tuple((page,) for page in range(pages))


def booklet_sides(pages: int) -> tuple[Side, ...]:
    """Return the sides of a booklet's sheets, front and back in turn, the outermost sheet first.

    Sheets are printed on both sides, turned over at the short edge, laid on each other as they come and folded once.
    Pages that are missing to fill the last sheet stay empty, at the end of the booklet.

    >>> booklet_sides(6)
    ((None, 0), (1, None), (5, 2), (3, 4))
    """
    places = pages + -pages % PAGES_A_SHEET

    def page(place: int) -> int | None:
        return place if place < pages else None

    sides: list[Side] = []
    for sheet in range(places // PAGES_A_SHEET):
        first, last = 2 * sheet, places - 1 - 2 * sheet
        sides += [(page(last), page(first)), (page(first + 1), page(last - 1))]
    return tuple(sides)
