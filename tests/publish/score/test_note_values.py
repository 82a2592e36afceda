"""Exact lengths as written values."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.publish.score.note_values import Value, odd_part, tuplet, values_of, within_tuplet


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


@pytest.mark.parametrize(("odd", "normal"), [(3, 2), (5, 4), (7, 4), (9, 8)])
def test_tuplets(odd: int, normal: int) -> None:
    made = tuplet(Element("layer"), odd, {"bracket.visible": "false"})
    assert made.attrib == {"num": str(odd), "numbase": str(normal), "bracket.visible": "false"}
    assert within_tuplet(Fraction(normal, 4 * odd), odd) == Fraction(1, 4)


def test_what_needs_no_tuplet_has_none() -> None:
    layer = Element("layer")
    assert tuplet(layer, 1, {}) is layer
    assert within_tuplet(Fraction(3, 8), 1) == Fraction(3, 8)


def test_the_odd_part_tells_whether_a_tuplet_is_needed() -> None:
    assert [odd_part(Fraction(*each)) for each in ((1, 8), (1, 12), (2, 20), (3, 4))] == [1, 3, 5, 1]
