"""Levels: marks, hairpins and accents in dB, strings that share a gesture's level, velocities."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import log10

import pytest

from tercet.performing.levels import gesture_level_db, level_lines, string_levels_db, velocity_of_level
from tercet.song import Dynamics, Layer
from tests.performing.pieces import Stroke, Visit, added, chop, piece, strum, tune

FRONT = Dynamics(melody="f", between="mp", strums="p")


def levels(
    marks: dict[int, str],
    *beats: str,
    layer: Layer = "melody",
    dynamics: Dynamics = FRONT,
    visits: tuple[Visit, ...] = (Visit("verse", 1, 4),),
) -> list[float]:
    """Return the level of a layer at beats of a piece in 4/4."""
    made = piece(marks=marks, visits=visits)
    line = level_lines(made.bars, dynamics)[layer]
    return [line.at(Fraction(beat)) for beat in beats]


def test_without_marks_each_layer_keeps_its_own() -> None:
    assert levels({}, "0", "15") == [4.0, 4.0]
    assert levels({}, "0", layer="between") == [-4.0]
    assert levels({}, "7", layer="strums") == [-8.0]


def test_bare_mark_moves_all_layers_and_keeps_their_distances() -> None:
    marks = {2: "p@3"}
    assert levels(marks, "5.99", "6", "16") == [4.0, -8.0, -8.0]
    assert levels(marks, "5.99", "6", layer="between") == [-4.0, -16.0]
    assert levels(marks, "5.99", "6", layer="strums") == [-8.0, -20.0]


def test_layer_mark_sets_one_layer_until_the_next_bare_mark() -> None:
    marks = {1: "strums:mf@1", 3: "mp@1"}
    assert levels(marks, "0", "7", "8") == [4.0, 4.0, -4.0]
    assert levels(marks, "0", "7", "8", layer="strums") == [0.0, 0.0, -16.0]
    assert levels({1: "melody:pp@1"}, "0", layer="strums") == [-8.0]


@pytest.mark.parametrize("marks", ["f@1 strums:pp@1", "strums:pp@1 f@1"])
def test_of_two_marks_at_one_place_the_layers_own_counts(marks: str) -> None:
    assert levels({2: marks}, "4", layer="strums") == [-12.0]
    assert levels({2: marks}, "4") == [4.0]


def test_hairpin_leads_evenly_to_the_next_dynamic() -> None:
    marks = {1: "p@1 louder@3", 2: "f@3"}
    assert levels(marks, "1", "2", "3", "4", "5", "6", "9") == [-8.0, -8.0, -5.0, -2.0, 1.0, 4.0, 4.0]
    assert levels(marks, "2", "4", "6", layer="strums") == [-20.0, -14.0, -8.0]


@pytest.mark.parametrize("marks", ["p@1 louder@1", "louder@1 p@1"])
def test_dynamic_and_hairpin_at_one_place_in_any_order(marks: str) -> None:
    assert levels({1: marks, 2: "f@1"}, "0", "2", "4") == [-8.0, -2.0, 4.0]


def test_hairpin_that_meets_a_hairpin_makes_one_step() -> None:
    marks = {1: "p@1 louder@1", 2: "softer@1", 3: "pp@1"}
    assert levels(marks, "0", "2", "4", "6", "8") == [-8.0, -6.0, -4.0, -8.0, -12.0]


def test_hairpin_against_the_dynamic_that_follows_leads_its_own_way() -> None:
    assert levels({1: "f@1 louder@1", 2: "p@1"}, "0", "2", "3", "4") == [4.0, 6.0, 7.0, -8.0]
    assert levels({1: "mf@1 softer@1", 2: "mf@1"}, "0", "2", "4") == [0.0, -2.0, 0.0]


def test_hairpin_runs_on_over_marks_of_time_accents_and_breaths() -> None:
    marks = {1: "mf@1 softer@1 rit@1 fermata@2 accent@3 ,@3", 2: "a-tempo@1 p@1"}
    assert levels(marks, "0", "1", "2", "3", "4") == [0.0, -2.0, -4.0, -6.0, -8.0]
    assert levels({1: "mf@1 rit@1 softer@1", 2: "p@1"}, "2") == [-4.0]


def test_hairpin_ends_with_its_section() -> None:
    visits = (Visit("verse", 1, 2), Visit("chorus", 1, 2))
    assert levels({2: "mf@1 louder@1", 4: "p@1"}, "4", "6", "8", "11", "12", visits=visits) == [
        0.0,
        2.0,
        4.0,
        4.0,
        -8.0,
    ]
    assert levels({2: "mf@1 louder@1", 3: "ff@1"}, "4", "6", "8", visits=visits) == [0.0, 4.0, 8.0]
    again = (Visit("verse", 1, 2), Visit("verse", 2, 2))
    assert levels({2: "mf@1 softer@1"}, "4", "6", "8", "15", visits=again) == [0.0, -2.0, -4.0, -4.0]


def test_hairpin_at_the_end_of_the_piece_makes_one_step() -> None:
    assert levels({4: "p@1 louder@1"}, "12", "14", "16", "20") == [-8.0, -6.0, -4.0, -4.0]


def test_hairpin_in_a_pickup_belongs_to_the_section_that_follows() -> None:
    visits = (Visit("verse", 1, 2), Visit("chorus", 1, 2, Fraction(1)))
    assert levels({2: "mf@1 louder@1 softer@4"}, "4", "5.5", "7", "11.5", "16", visits=visits) == [
        0.0,
        2.0,
        4.0,
        2.0,
        0.0,
    ]
    assert levels({2: "mf@1 louder@1"}, "7", "8", visits=visits) == [4.0, 4.0]


def test_marks_count_from_the_first_pickup() -> None:
    visits = (Visit("verse", 1, 2, Fraction(1)),)
    assert levels({0: "p@1", 1: "f@1"}, "0", "0.5", "1", visits=visits) == [-8.0, -8.0, 4.0]


def test_hairpin_of_one_layer_leaves_the_others() -> None:
    marks = {1: "mf@1 strums:louder@1", 2: "strums:p@1"}
    assert levels(marks, "2") == [0.0]
    assert levels(marks, "0", "2", "4", layer="strums") == [-12.0, -10.0, -8.0]


@pytest.mark.parametrize(
    ("stroke", "level_db"),
    [
        (tune(0, 1), 4.0),
        (tune(0, 1, accent=True), 7.0),
        (added(0, 1), -4.0),
        (tune(0, 1, "2", layer="between"), 0.0),
        (tune(0, 1, "2", layer="between", accent=True), 3.0),
        (strum(0, 1), -8.0),
        (strum(0, 1, accent=True), -5.0),
        (chop(0, 1), -8.0),
    ],
)
def test_level_of_a_gesture(stroke: Stroke, level_db: float) -> None:
    made = piece(stroke)
    assert gesture_level_db(made.gestures[0], level_lines(made.bars, FRONT)) == level_db


def test_note_of_the_tune_between_is_not_held_back_where_it_is_loud() -> None:
    made = piece(tune(0, 1, "2", layer="between"))
    loud = Dynamics(melody="p", between="mf", strums="pp")
    assert gesture_level_db(made.gestures[0], level_lines(made.bars, loud)) == 0.0


def test_strings_of_a_gesture_add_up_to_its_level() -> None:
    for stroke in (tune(0, 1, "4321"), tune(0, 1, "43"), strum(0, 1, "4321"), added(0, 1)):
        parts = string_levels_db(piece(stroke).gestures[0], -3.0)
        assert 10.0 * log10(sum(10.0 ** (part / 10.0) for part in parts)) == pytest.approx(-3.0, abs=1e-8)


def test_tune_stands_over_the_strings_under_it() -> None:
    under = 10.0 ** (-0.6)
    top = -10.0 * log10(1.0 + 3.0 * under)
    roll = string_levels_db(piece(tune(0, 1, "4321")).gestures[0], 0.0)
    assert roll == pytest.approx((top - 6.0, top - 6.0, top - 6.0, top), abs=1e-8)
    assert roll[-1] == pytest.approx(-2.4392, abs=1e-4)
    assert string_levels_db(piece(tune(0, 1, "1")).gestures[0], 2.0) == (2.0,)


def test_a_string_level_with_the_tune_or_above_it_is_held_back() -> None:
    gesture = piece(tune(0, 1, "4321")).gestures[0]
    low, high = gesture.notes[1], replace(gesture.notes[0], midi=gesture.notes[-1].midi + 3)
    level = replace(gesture.notes[2], midi=gesture.notes[-1].midi)
    four, three, two, one = string_levels_db(
        replace(gesture, notes=(high, low, level, gesture.notes[-1])), 0.0
    )
    assert (one - four, one - three, one - two) == pytest.approx((14.0, 6.0, 14.0), abs=1e-8)


def test_a_strum_spends_itself_along_the_way_and_adds_up_to_its_level() -> None:
    down = piece(strum(0, 1, "4321")).gestures[0]
    for gesture, step_db in ((down, 1.0), (replace(down, up=True), 1.5)):
        levels = string_levels_db(gesture, -3.0)
        assert [sooner - later for sooner, later in pairwise(levels)] == pytest.approx([step_db] * 3)
        assert 10.0 * log10(sum(10.0 ** (level / 10.0) for level in levels)) == pytest.approx(-3.0)


@pytest.mark.parametrize("uneven_db", [(-3.0, 3.0, 0.0, 5.0), (0.0, 9.0, 9.0, 9.0), (-9.0, 0.0, 0.0, 9.0)])
@pytest.mark.parametrize("up", [False, True])
@pytest.mark.parametrize("strings", ["4321", "321", "21"])
def test_however_uneven_and_short_a_strum_is_each_string_is_softer_than_the_one_before(
    uneven_db: tuple[float, ...], up: bool, strings: str
) -> None:
    gesture = replace(piece(strum(0, 1, strings)).gestures[0], up=up)
    levels = string_levels_db(gesture, -3.0, uneven_db)
    assert all(sooner - later > 0.69 for sooner, later in pairwise(levels))
    assert levels[0] - levels[-1] > 2.09
    assert 10.0 * log10(sum(10.0 ** (level / 10.0) for level in levels)) == pytest.approx(-3.0)


def test_an_uneven_hand_leaves_the_level_and_the_lead_of_the_tune() -> None:
    """The strings under it vary; none comes nearer to it than 3 dB, and the whole stays as loud."""
    roll = piece(tune(0, 1, "4321")).gestures[0]
    even, uneven = string_levels_db(roll, 0.0), string_levels_db(roll, 0.0, (2.0, -1.0, 9.0, 5.0))
    from_tune = [level - uneven[-1] for level in uneven]
    assert [level - even[-1] for level in even] == pytest.approx([-6.0, -6.0, -6.0, 0.0])
    assert from_tune == pytest.approx([-4.0, -7.0, -3.0, 0.0])
    assert 10.0 * log10(sum(10.0 ** (level / 10.0) for level in uneven)) == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize(
    ("level_db", "velocity"),
    [
        (12.0, 127),
        (8.0, 101),
        (4.0, 80),
        (0.0, 64),
        (-4.0, 51),
        (-8.0, 40),
        (-12.0, 32),
        (-16.0, 25),
        (30.0, 127),
        (-200.0, 1),
    ],
)
def test_velocity_of_each_mark(level_db: float, velocity: int) -> None:
    assert velocity_of_level(level_db) == velocity


@pytest.mark.parametrize(
    ("dynamics", "front_lu", "between_db", "strums_db"),
    [
        (Dynamics("f", "mp", "p"), None, -4.0, -8.0),
        (Dynamics("f", "mp", "p"), 6.0, 0.0, -2.0),
        (Dynamics("f", "mp", "p"), 15.0, -6.0, -11.0),
        (Dynamics("mf", "mf", "mf"), 8.0, -4.0, -8.0),
        (Dynamics("p", "p", "f"), 8.0, -12.0, -16.0),
    ],
)
def test_front_keeps_the_between_layer_where_it_was(
    dynamics: Dynamics, front_lu: float | None, between_db: float, strums_db: float
) -> None:
    lines = level_lines(piece().bars, dynamics, front_lu)
    assert lines["between"].at(Fraction(0)) == pytest.approx(between_db)
    assert lines["strums"].at(Fraction(0)) == pytest.approx(strums_db)
