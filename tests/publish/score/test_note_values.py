"""Exact lengths as written values."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.publish.score.note_values import Ratio, Value, odd_part, ratio_of, values_of


@pytest.mark.parametrize(
    ("whole", "values"),
    [
        (Fraction(1, 4), [(4, 0)]),
        (Fraction(3, 8), [(4, 1)]),
        (Fraction(5, 8), [(2, 0), (8, 0)]),
        (Fraction(7, 8), [(2, 0), (4, 1)]),
        (Fraction(3, 2), [(1, 1)]),
        (Fraction(0), []),
    ],
)
def test_lengths_become_values(whole: Fraction, values: list[tuple[int, int]]) -> None:
    assert [(value.fraction, value.dots) for value in values_of(whole)] == values


@given(st.integers(1, 2000), st.sampled_from([1, 2, 4, 8, 16, 32, 64, 128, 256]))
def test_values_add_up_exactly(over: int, under: int) -> None:
    whole = Fraction(over, under)
    assert sum((value.whole for value in values_of(whole)), Fraction(0)) == whole


def test_music_finer_than_any_value_is_written_as_the_finest() -> None:
    assert values_of(Fraction(1, 4096)) == (Value(1024),)
    assert values_of(Fraction(0)) == ()


@pytest.mark.parametrize(
    ("odd", "ratio"), [(3, Ratio(3, 2)), (5, Ratio(5, 4)), (7, Ratio(7, 4)), (9, Ratio(9, 8))]
)
def test_tuplets(odd: int, ratio: Ratio) -> None:
    assert ratio_of(odd) == ratio


def test_the_odd_part_tells_whether_a_tuplet_is_needed() -> None:
    assert [odd_part(Fraction(*each)) for each in ((1, 8), (1, 12), (2, 20), (3, 4))] == [1, 3, 5, 1]
