"""Hand shapes: what they sound, which fingers they take, how far they stretch."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.neck import (
    COMMON_SHAPES,
    common_shape,
    fingers_needed,
    fret_position_mm,
    holdable,
    shape_midis,
    span_mm,
)
from tercet.theory import TUNINGS, Pitch, parse_chord, tuning_of_pitches
from tests.arranging.laws import can_hold

TAUGHT = {
    "C": {0, 4, 7},
    "F": {5, 9, 0},
    "G7": {7, 11, 2, 5},
    "G": {7, 11, 2},
    "Am": {9, 0, 4},
    "Dm": {2, 5, 9},
    "D": {2, 6, 9},
    "A": {9, 1, 4},
    "A7": {9, 1, 4, 7},
    "D7": {2, 6, 9, 0},
    "E7": {4, 8, 11, 2},
    "Em": {4, 7, 11},
    "Gm": {7, 10, 2},
    "Bb": {10, 2, 5},
    "B7": {11, 3, 6, 9},
    "C7": {0, 4, 7, 10},
    "Fm": {5, 8, 0},
}
"""What the taught shapes must sound, by hand; each of them sounds its whole chord."""

# fmt: off
BARITONE_NAMES = {
    "C": "G", "F": "C", "G7": "D7", "G": "D", "Am": "Em", "Dm": "Am", "D": "A", "A": "E", "A7": "E7",
    "D7": "A7", "E7": "B7", "Em": "Bm", "Gm": "Dm", "Bb": "F", "B7": "F#7", "C7": "G7", "Fm": "Cm",
}
# fmt: on
"""What each taught shape is called a fourth lower."""

shapes = st.tuples(*[st.integers(0, 15)] * 4)


def frets_of(digits: str) -> tuple[int, ...]:
    return tuple(int(digit) for digit in digits)


@pytest.mark.parametrize("tuning", ["high-g", "low-g"])
@pytest.mark.parametrize(("name", "classes"), TAUGHT.items())
def test_every_taught_shape_sounds_its_chord(name: str, classes: set[int], tuning: str) -> None:
    shape = common_shape(parse_chord(name), TUNINGS[tuning])
    assert shape == frets_of(COMMON_SHAPES[name])
    assert {midi % 12 for midi in shape_midis(shape, TUNINGS[tuning])} == classes


@pytest.mark.parametrize(("name", "lower"), BARITONE_NAMES.items())
def test_a_baritone_takes_the_same_shapes_a_fourth_lower(name: str, lower: str) -> None:
    chord = parse_chord(lower)
    shape = common_shape(chord, TUNINGS["baritone"])
    assert shape == frets_of(COMMON_SHAPES[name])
    assert {midi % 12 for midi in shape_midis(shape, TUNINGS["baritone"])} == chord.pitch_classes


def test_the_table_is_the_one_that_is_tested() -> None:
    assert set(COMMON_SHAPES) == set(TAUGHT) == set(BARITONE_NAMES)


def test_shapes_a_tone_higher_on_a_d_tuning() -> None:
    tuning = tuning_of_pitches(tuple(Pitch.parse(text) for text in ("A4", "D4", "F#4", "B4")))
    assert common_shape(parse_chord("D"), tuning) == (0, 0, 0, 3)
    assert common_shape(parse_chord("A7"), tuning) == (0, 2, 1, 2)
    assert common_shape(parse_chord("C"), tuning) == (3, 2, 1, 1)


def test_no_known_shape() -> None:
    odd = tuning_of_pitches(tuple(Pitch.parse(text) for text in ("G4", "C4", "E4", "G4")))
    assert common_shape(parse_chord("C"), odd) is None
    assert common_shape(parse_chord("Caug"), TUNINGS["high-g"]) is None
    assert common_shape(parse_chord("Am7"), TUNINGS["high-g"]) is None
    assert common_shape(parse_chord("C/E"), TUNINGS["high-g"]) == (0, 0, 0, 3)


@pytest.mark.parametrize(
    ("digits", "fingers"),
    [
        ("0000", 0),
        ("0003", 1),
        ("2010", 2),
        ("0212", 3),
        ("2220", 1),
        ("2223", 2),
        ("3211", 3),
        ("1013", 3),
        ("2322", 2),
        ("4445", 2),
        ("5555", 1),
        ("2020", 2),
        ("2012", 3),
        ("1234", 4),
        ("2552", 3),
        ("2452", 3),
        ("0330", 1),
        ("3003", 2),
    ],
)
def test_fingers(digits: str, fingers: int) -> None:
    assert fingers_needed(frets_of(digits)) == fingers


@given(shapes)
def test_fingers_agree_with_trying_every_barre(frets: tuple[int, int, int, int]) -> None:
    assert holdable(frets, 380.0) == can_hold(frets, 380.0)


@pytest.mark.parametrize(
    ("fret", "scale_length_mm", "position_mm"),
    [(0, 380.0, 0.0), (12, 380.0, 190.0), (5, 380.0, 95.322), (1, 346.0, 19.419), (7, 510.0, 169.616)],
)
def test_where_a_fret_lies(fret: int, scale_length_mm: float, position_mm: float) -> None:
    assert fret_position_mm(fret, scale_length_mm) == pytest.approx(position_mm, abs=5e-4)


@pytest.mark.parametrize(
    ("digits", "scale_length_mm", "expected_mm"),
    [
        ("0000", 380.0, 0.0),
        ("0003", 380.0, 0.0),
        ("2220", 380.0, 0.0),
        ("0212", 380.0, 20.131),
        ("0231", 346.0, 35.630),
        ("0235", 380.0, 53.863),
        ("1004", 510.0, 76.589),
        ("2005", 510.0, 72.290),
    ],
)
def test_spans(digits: str, scale_length_mm: float, expected_mm: float) -> None:
    assert span_mm(frets_of(digits), scale_length_mm) == pytest.approx(expected_mm, abs=5e-4)


@pytest.mark.parametrize(
    ("frets", "scale_length_mm", "can"),
    [
        ((0, 0, 0, 0), 380.0, True),
        ((1, 2, 3, 4), 380.0, True),
        ((1, 0, 0, 5), 346.0, False),  # five frets below fret 5
        ((5, 0, 0, 9), 380.0, True),  # five frets from fret 5 on
        ((4, 0, 0, 8), 380.0, False),
        ((5, 0, 0, 9), 510.0, True),  # 78.8 mm
        ((5, 0, 0, 9), 560.0, False),  # 86.6 mm: too wide for any hand
        ((1, 0, 2, 1), 380.0, True),
        ((2, 3, 4, 4), 380.0, True),
    ],
)
def test_what_a_hand_can_hold(frets: tuple[int, ...], scale_length_mm: float, can: bool) -> None:
    assert holdable(frets, scale_length_mm) is can
