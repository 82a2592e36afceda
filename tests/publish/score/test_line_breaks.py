"""Where lines of music break on paper."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from tercet.publish.score.engraving import WrittenWidth, starts_of_lines


def broken(*lines: tuple[int, int, tuple[float, ...]], room: float = 100.0) -> tuple[int, ...]:
    bars = [WrittenWidth(section, line, width) for section, line, widths in lines for width in widths]
    return starts_of_lines(bars, room, opening=10.0)


def test_lines_of_music_stay_as_they_are_written() -> None:
    assert broken((0, 0, (30.0, 30.0)), (0, 1, (30.0, 30.0))) == (2,)


def test_short_lines_share_one() -> None:
    assert broken((0, 0, (20.0, 20.0)), (0, 1, (20.0, 20.0))) == ()


def test_a_section_begins_on_a_new_line() -> None:
    assert broken((0, 0, (20.0,)), (1, 0, (20.0,))) == (1,)


def test_a_wide_line_is_cut_into_like_parts() -> None:
    assert broken((0, 0, (40.0, 40.0, 40.0, 40.0))) == (2,)


def test_a_bar_that_is_wider_than_the_paper_stands_alone() -> None:
    assert broken((0, 0, (20.0, 300.0, 20.0))) == (1, 2)


@given(st.lists(st.tuples(st.integers(0, 2), st.floats(1.0, 60.0)), min_size=1, max_size=40))
def test_no_line_is_wider_than_the_paper_unless_a_bar_is(items: list[tuple[int, float]]) -> None:
    bars = [WrittenWidth(0, index // 4, width) for index, (_, width) in enumerate(items)]
    starts = (0, *starts_of_lines(bars, 100.0, opening=10.0), len(bars))
    assert list(starts) == sorted(set(starts))
    for first, last in pairwise(starts):
        widths = [bar.width for bar in bars[first:last]]
        assert sum(widths) <= 90.0 + 1e-9 or len(widths) == 1
