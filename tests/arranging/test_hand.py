"""The left hand: where it is, what a shape costs, which shape it forms for a chord."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.arranging.demands import COSTS, LIMITS, Hands
from tercet.arranging.hand import (
    OPEN_HAND,
    allowed,
    change_cost,
    chord_shape,
    hand_position,
    shape_cost,
    shown_shape,
    sounds_chord,
)
from tercet.neck import COMMON_SHAPES, shape_midis
from tercet.song import Players
from tercet.theory import TUNINGS, parse_chord
from tests.arranging.strategies import chord_names

Shape = tuple[int, int, int, int]


def hands(players: Players = "improving", tuning: str = "high-g", scale_length_mm: float = 380.0) -> Hands:
    return Hands(TUNINGS[tuning], scale_length_mm, LIMITS[players])


@pytest.mark.parametrize(
    ("shape", "before", "position"),
    [
        ((0, 0, 0, 0), 3, 3),  # an open shape moves nothing
        ((0, 0, 0, 3), 1, 1),  # C and F without moving
        ((2, 0, 1, 0), 1, 1),
        ((0, 0, 0, 5), 1, 2),
        ((0, 2, 3, 5), 1, 2),
        ((0, 0, 0, 3), 5, 3),
        ((5, 0, 0, 9), 1, 5),
        ((7, 7, 7, 10), 5, 6),
        ((0, 0, 0, 10), 1, 6),
    ],
)
def test_position(shape: Shape, before: int, position: int) -> None:
    assert hand_position(shape, before) == position


@given(st.tuples(*[st.integers(0, 12)] * 4), st.integers(1, 12))
def test_from_its_position_the_hand_reaches_its_shape(shape: Shape, before: int) -> None:
    pressed = [fret for fret in shape if fret]
    if not pressed or max(pressed) - min(pressed) > 3:
        return
    position = hand_position(shape, before)
    assert position <= min(pressed)
    assert max(pressed) <= position + 4
    assert hand_position(shape, position) == position


def test_what_a_change_costs() -> None:
    placing, kept = COSTS["placing a finger"], COSTS["kept finger"]
    assert change_cost((0, 0, 0, 3), (0, 0, 0, 3), 1) == pytest.approx(kept)
    assert change_cost((0, 0, 0, 3), (2, 0, 1, 0), 1) == pytest.approx(2 * placing)
    assert change_cost((2, 0, 0, 0), (2, 0, 1, 0), 1) == pytest.approx(placing + kept)
    assert change_cost((2, 0, 1, 0), OPEN_HAND, 1) == 0.0
    one_fret = COSTS["fret of a position change"]
    assert change_cost(OPEN_HAND, (0, 0, 0, 5), 1) == pytest.approx(placing + one_fret)
    assert change_cost(OPEN_HAND, (0, 0, 0, 7), 1) == pytest.approx(
        placing + 3 * one_fret + COSTS["position change"]
    )


def test_what_a_shape_costs() -> None:
    chord, neck = parse_chord("C"), hands()
    finger, known = COSTS["finger"], COSTS["known shape"]
    assert shape_cost((0, 0, 0, 3), chord, neck) == pytest.approx(finger + known)
    assert shape_cost((0, 0, 3, 3), chord, neck) == pytest.approx(
        2 * finger + COSTS["most telling tone missing"]
    )
    idle = COSTS["idle string off the chord"]
    assert shape_cost((0, 0, 0, 0), chord, neck) == pytest.approx(idle)
    seventh = COSTS["second tone missing"]
    assert shape_cost((0, 2, 3, 2), parse_chord("G7"), neck) == pytest.approx(3 * finger + seventh)


def test_fingers_are_set_one_by_one_or_with_a_barre_whichever_costs_less() -> None:
    finger = COSTS["finger"]
    chord = parse_chord("F6")
    one_by_one = shape_cost((5, 5, 5, 5), chord, hands("beginner"))
    with_barre = shape_cost((5, 5, 5, 5), chord, hands("free"))
    assert one_by_one - with_barre == pytest.approx(
        4 * finger + COSTS["little finger"] - finger - COSTS["barre over more"]
    )
    two = shape_cost((0, 0, 3, 3), parse_chord("C5"), hands("free"))
    assert two == pytest.approx(2 * finger)


def test_stretches_and_the_little_finger_cost() -> None:
    near, far = (
        shape_cost((0, 2, 3, 2), parse_chord("G"), hands()),
        shape_cost((0, 2, 3, 5), parse_chord("G"), hands()),
    )
    stretch = COSTS["stretch over 20 mm more than is easy"] * (53.863 - 40) / 20
    assert far - near - COSTS["known shape"] * -1 == pytest.approx(
        stretch + COSTS["most telling tone missing"], abs=1e-3
    )
    four = shape_cost((1, 2, 3, 4), parse_chord("Abm"), hands())
    assert four >= 4 * COSTS["finger"] + COSTS["little finger"]


@pytest.mark.parametrize(
    ("shape", "players", "scale_length_mm", "asked"),
    [
        ((0, 2, 3, 2), "beginner", 380.0, True),
        ((3, 2, 1, 1), "beginner", 380.0, False),  # four fingers without a barre
        ((3, 2, 1, 1), "improving", 380.0, True),
        ((0, 2, 3, 5), "beginner", 380.0, True),  # 53.9 mm
        ((0, 2, 3, 5), "beginner", 430.0, False),  # 61.0 mm
        ((1, 0, 0, 4), "improving", 510.0, False),  # 76.6 mm
        ((1, 0, 0, 4), "free", 510.0, True),
    ],
)
def test_what_players_are_asked_to_hold(
    shape: Shape, players: Players, scale_length_mm: float, asked: bool
) -> None:
    assert allowed(shape, hands(players, scale_length_mm=scale_length_mm)) is asked


@pytest.mark.parametrize("tuning", ["high-g", "low-g"])
@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
@pytest.mark.parametrize(("name", "digits"), COMMON_SHAPES.items())
def test_a_chord_is_strummed_in_the_shape_that_is_taught(
    name: str, digits: str, players: Players, tuning: str
) -> None:
    shape = chord_shape(parse_chord(name), hands(players, tuning), OPEN_HAND)
    assert shape == tuple(int(digit) for digit in digits)


def test_a_shape_beside_a_held_note() -> None:
    d_minor = parse_chord("Dm")
    assert chord_shape(d_minor, hands("beginner"), OPEN_HAND, held=((1, 5),)) is None
    assert chord_shape(d_minor, hands("beginner"), OPEN_HAND, ((1, 5),), (4, 3)) == (2, 2, 0, 5)
    assert chord_shape(d_minor, hands(), OPEN_HAND, held=((2, 1),)) == (2, 2, 1, 0)


@pytest.mark.parametrize(("tune_midi", "string_1"), [(55, 3), (64, 3), (81, 2), (None, 2)])
def test_of_shapes_that_cost_the_same_the_one_further_from_the_tune_is_held(
    tune_midi: int | None, string_1: int
) -> None:
    shape = chord_shape(parse_chord("Cmaj7"), hands("beginner"), OPEN_HAND, ((4, 4),), (3, 2, 1), tune_midi)
    assert shape == (4, 0, 0, string_1)


@given(chord_names, st.sampled_from(list(TUNINGS)))
def test_a_formed_shape_sounds_the_chord(name: str, tuning: str) -> None:
    chord = parse_chord(name)
    shape = chord_shape(chord, hands("free", tuning), OPEN_HAND)
    assert shape is not None
    assert {midi % 12 for midi in shape_midis(shape, TUNINGS[tuning])} <= chord.pitch_classes


def test_whether_strings_sound_a_chord() -> None:
    chord = parse_chord("Dm")
    assert sounds_chord((2, 2, 1, 0), chord, hands(), (4, 3, 2, 1))
    assert not sounds_chord((2, 0, 0, 5), chord, hands(), (4, 3, 2))
    assert sounds_chord((2, 0, 0, 5), chord, hands(), (4,))


def test_strings_that_a_pinned_shape_leaves_out_are_shown_as_such() -> None:
    assert shown_shape((2, 0, 0, 3), (4, 3), None) == (2, 0, 0, 3)
    assert shown_shape((2, 0, 0, 0), (4, 3), (2, 0, 0, None)) == (2, 0, 0, None)
    assert shown_shape((2, 0, 0, 3), (4, 3, 2, 1), (2, 0, 0, None)) == (2, 0, 0, 3)
