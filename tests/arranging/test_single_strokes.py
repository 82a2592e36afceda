"""Single notes: which ways to play a note over a held shape there are."""

from __future__ import annotations

import pytest

from tercet.arranging.choices import Stroke, single_strokes, with_fret
from tercet.neck.demands import COSTS, LIMITS, Hands
from tercet.song import Players
from tercet.theory import TUNINGS


def hands(players: Players = "improving", tuning: str = "high-g", scale_length_mm: float = 380.0) -> Hands:
    return Hands(TUNINGS[tuning], scale_length_mm, LIMITS[players])


def text(stroke: Stroke) -> str:
    return " ".join(f"{string}/{stroke.shape[4 - string]}" for string in stroke.struck)


def test_one_fret_changed() -> None:
    assert with_fret((0, 0, 0, 3), 1, 0) == (0, 0, 0, 0)
    assert with_fret((2, 0, 1, 0), 4, 5) == (5, 0, 1, 0)


def test_a_single_note_puts_a_finger_over_the_held_shape() -> None:
    found = {text(stroke): stroke.shape for stroke in single_strokes(69, (0, 0, 0, 3), hands())}
    assert found == {
        "4/2": (2, 0, 0, 3),
        "3/9": (0, 9, 0, 0),  # too far from the C: the hand lets go
        "2/5": (0, 0, 5, 3),
        "1/0": (0, 0, 0, 0),
    }


def test_a_single_note_leaves_the_strings_that_ring() -> None:
    found = {text(stroke): stroke.shape for stroke in single_strokes(69, (0, 0, 0, 3), hands(), keep=(1,))}
    assert found == {"4/2": (2, 0, 0, 3), "2/5": (0, 0, 5, 3)}


def test_frets_out_of_reach_are_offered_at_a_price() -> None:
    costs = {text(stroke): stroke.cost for stroke in single_strokes(79, (0, 0, 0, 0), hands("beginner"))}
    assert costs["1/10"] == pytest.approx(5 * COSTS["fret out of these players' reach"])
    assert set(costs) == {"4/12", "2/15", "1/10"}
    assert list(single_strokes(59, (0, 0, 0, 0), hands())) == []
    assert list(single_strokes(85, (0, 0, 0, 0), hands())) == []
