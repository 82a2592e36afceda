"""Swing: the pulse's second half moves, triplets and compound meters stay."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.performing.tempo import Swing, swung_beat
from tercet.song import Meter
from tests.performing.pieces import Visit, added, piece, strum, tune


@pytest.mark.parametrize(
    ("place", "swing", "falls"),
    [
        ("0", "2/3", "0"),
        ("1/2", "2/3", "2/3"),
        ("1/4", "2/3", "1/3"),
        ("3/4", "2/3", "5/6"),
        ("7/2", "2/3", "11/3"),
        ("1/3", "2/3", "1/3"),
        ("2/3", "2/3", "2/3"),
        ("5/6", "2/3", "5/6"),
        ("1/2", "3/5", "3/5"),
        ("5/2", "1/2", "5/2"),
        ("-1/2", "2/3", "-1/3"),
    ],
)
def test_places_in_common_time(place: str, swing: str, falls: str) -> None:
    assert swung_beat(Fraction(place), Meter(4, 4), Fraction(swing)) == Fraction(falls)


@pytest.mark.parametrize("place", ["1", "2", "3/2", "1/2", "9/2"])
def test_nothing_swings_where_the_pulse_has_three_parts(place: str) -> None:
    assert swung_beat(Fraction(place), Meter(6, 8), Fraction(2, 3)) == Fraction(place)


@given(
    st.fractions(0, 4, max_denominator=8), st.fractions(0, 4, max_denominator=8), st.fractions("1/2", "3/4")
)
def test_order_is_kept(one: Fraction, other: Fraction, swing: Fraction) -> None:
    if one.denominator % 3 and other.denominator % 3:
        earlier, later = sorted((one, other))
        assert swung_beat(earlier, Meter(4, 4), swing) <= swung_beat(later, Meter(4, 4), swing)


def test_pickup_swings_as_the_end_of_a_bar() -> None:
    swing = Swing(piece(tune(0, "1/2"), swing="2/3", visits=[Visit("verse", 1, 1, Fraction(3, 2))]))
    assert swing.beat(Fraction(0), "melody") == Fraction(1, 6)
    assert swing.beat(Fraction(1, 2), "melody") == Fraction(1, 2)
    assert swing.beat(Fraction(3, 2), "melody") == Fraction(3, 2)
    assert swing.beat(Fraction(2), "melody") == Fraction(13, 6)


def test_pulse_in_six_parts_keeps_its_middle_in_the_layer_that_plays_it() -> None:
    sixths = [tune(Fraction(place, 6), "1/6") for place in range(6)]
    made = piece(*sixths, strum("1/2", "1/2"), added("3/2", "1/2"), swing="2/3")
    swing = Swing(made)
    assert swing.beat(Fraction(1, 2), "melody") == Fraction(1, 2)
    assert swing.beat(Fraction(1, 2), "strums") == Fraction(2, 3)
    assert swing.beat(Fraction(3, 2), "melody") == Fraction(5, 3)


def test_even_songs_stay_as_written() -> None:
    assert Swing(piece(tune(0, 1))).beat(Fraction(5, 2), "strums") == Fraction(5, 2)
