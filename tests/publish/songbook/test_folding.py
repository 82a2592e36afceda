"""The order of pages for folding, held against a stack of paper that is folded."""

from __future__ import annotations

import pytest

from tercet.publish.pdf import Side
from tercet.publish.songbook.folding import booklet_sides, single_sides


def read_through(sides: tuple[Side, ...]) -> list[int | None]:
    """Return the pages in the order in which they are turned: front and back of each sheet, outermost sheet first."""
    sheets = list(zip(sides[::2], sides[1::2], strict=True))
    first_half = [page for front, back in sheets for page in (front[1], back[0])]
    second_half = [page for front, back in reversed(sheets) for page in (back[1], front[0])]
    return first_half + second_half


@pytest.mark.parametrize("pages", range(1, 41))
def test_a_folded_stack_reads_in_order_with_blank_pages_at_its_end(pages: int) -> None:
    sides = booklet_sides(pages)
    assert all(len(side) == 2 for side in sides)
    read = read_through(sides)
    assert read[:pages] == list(range(pages))
    assert set(read[pages:]) <= {None}
    assert len(read) - pages < 4


def test_sides_in_a_wrong_order_would_be_seen() -> None:
    first, second, *rest = booklet_sides(8)
    assert read_through((second, first, *rest)) != list(range(8))


def test_pages_one_by_one() -> None:
    assert single_sides(3) == ((0,), (1,), (2,))
