"""Lengths in ABC: plain ones by halves, tuplets for others."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.exchange.abc.writer import grouped, length_text

THIRD, FIFTH = Fraction(1, 3), Fraction(1, 5)


@pytest.mark.parametrize(
    ("length", "text"),
    [("1", ""), ("3", "3"), ("1/2", "/"), ("1/4", "/4"), ("3/2", "3/2"), ("7/1000", "7/1000")],
)
def test_a_length(length: str, text: str) -> None:
    assert length_text(Fraction(length)) == text


@pytest.mark.parametrize(
    ("lengths", "signs"),
    [
        ([Fraction(1)] * 2, ["", ""]),
        ([THIRD] * 3, ["(3:2:3"]),
        ([2 * THIRD, THIRD, Fraction(1)], ["(3:2:2", ""]),
        ([THIRD] * 6, ["(3:2:3", "(3:2:3"]),
        ([4 * FIFTH] * 5, ["(5:4:5"]),
        ([THIRD, Fraction(1)], ["", ""]),
        ([Fraction(1, 11)], [""]),
        ([THIRD] * 2, ["", ""]),
    ],
)
def test_tuplets_close_as_soon_as_their_time_is_whole(lengths: list[Fraction], signs: list[str]) -> None:
    assert [sign for sign, _ in grouped(lengths)] == signs


@given(
    st.lists(
        st.sampled_from((Fraction(1), Fraction(1, 2), THIRD, 2 * THIRD, FIFTH, Fraction(1, 7))), max_size=12
    )
)
def test_no_time_is_lost(lengths: list[Fraction]) -> None:
    back: list[Fraction] = []
    for sign, run in grouped(lengths):
        notes, in_time = (int(part) for part in sign[1:].split(":")[:2]) if sign else (1, 1)
        back += [length * Fraction(in_time, notes) for length in run]
    assert back == lengths
