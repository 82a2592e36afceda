"""Rolls and single notes: the reentrant law, and which ways to play a note there are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.arrange.demands import COSTS, LIMITS, Hands
from render.arrange.strokes import (
    Stroke,
    audibility,
    chord_strokes,
    single_strokes,
    struck_down_to,
    with_fret,
)
from render.neck import TUNINGS, shape_midis
from render.song import Players
from render.theory import parse_chord
from tests.arrange.laws import can_hold
from tests.arrange.strategies import chord_names, tunings

HIGH_G = TUNINGS["high-g"]
C_ROLLS = {"4/0 3/0 2/0 1/3", "3/0 2/0 1/3", "2/0 1/3"}


def hands(players: Players = "improving", tuning: str = "high-g", scale_length_mm: float = 380.0) -> Hands:
    return Hands(TUNINGS[tuning], scale_length_mm, LIMITS[players])


def text(stroke: Stroke) -> str:
    return " ".join(f"{string}/{stroke.shape[4 - string]}" for string in stroke.struck)


@pytest.mark.parametrize(
    ("tune", "others", "heard"),
    [
        (72, (67, 60, 64), "top"),
        (67, (67, 60), "unison"),
        (64, (67, 60), "masked"),
        (60, (72,), "octave"),
        (60, (72, 67), "masked"),
        (64, (76, 64), "octave"),
        (60, (), "top"),
    ],
)
def test_how_a_tune_is_heard(tune: int, others: tuple[int, ...], heard: str) -> None:
    assert audibility(tune, others) == heard


@given(st.integers(60, 84), st.lists(st.integers(55, 84), max_size=3))
def test_a_tune_is_masked_by_what_sounds_higher_and_is_no_octave(tune: int, others: list[int]) -> None:
    masked = any(other > tune and (other - tune) % 12 for other in others)
    assert (audibility(tune, tuple(others)) == "masked") == masked


def test_ways_for_the_thumb_to_fall() -> None:
    assert struck_down_to(1) == ((4, 3, 2, 1), (3, 2, 1), (2, 1), (1,))
    assert struck_down_to(3) == ((4, 3), (3,))
    assert struck_down_to(4) == ((4,),)


def test_one_fret_changed() -> None:
    assert with_fret((0, 0, 0, 3), 1, 0) == (0, 0, 0, 0)
    assert with_fret((2, 0, 1, 0), 4, 5) == (5, 0, 1, 0)


@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
def test_the_easiest_roll_to_c_is_the_chord_that_all_know(players: Players) -> None:
    found = [stroke for stroke in chord_strokes(72, parse_chord("C"), hands(players)) if stroke.rolled]
    assert text(found[0]) == "4/0 3/0 2/0 1/3"
    assert found[0].shape == (0, 0, 0, 3)
    assert {text(stroke) for stroke in found} >= C_ROLLS


def test_on_a_high_g_the_roll_to_e_starts_on_string_3() -> None:
    found = chord_strokes(64, parse_chord("C"), hands())
    rolls = [stroke for stroke in found if stroke.rolled]
    assert text(rolls[0]) == "3/0 2/0"
    assert rolls[0].heard == "top"
    assert {stroke.heard for stroke in rolls if stroke.struck[0] == 4} == {"masked"}


def test_on_a_low_g_the_same_roll_takes_all_strings() -> None:
    rolls = [s for s in chord_strokes(64, parse_chord("C"), hands(tuning="low-g")) if s.rolled]
    assert text(rolls[0]) == "4/0 3/0 2/0"
    assert rolls[0].heard == "top"


def test_from_g4_on_a_roll_may_start_on_a_high_string_4() -> None:
    starts = {}
    for midi in range(60, 76):
        rolls = [s for s in chord_strokes(midi, parse_chord("Cmaj9"), hands("free")) if s.rolled]
        open_fours = [s for s in rolls if s.struck[0] == 4 and s.shape[0] == 0]
        starts[midi] = {s.heard for s in open_fours if s.string == 1 or midi < 69}
    assert all(heard <= {"masked"} for midi, heard in starts.items() if midi < 67)
    assert starts[67] == {"unison"}
    assert starts[72] == {"top"}


@given(st.integers(55, 84), chord_names, st.sampled_from(["beginner", "improving", "free"]), tunings)
def test_every_stroke_over_a_chord_keeps_the_laws(
    midi: int, name: str, players: Players, tuning: object
) -> None:
    neck = Hands(tuning, 380.0, LIMITS[players])  # type: ignore[arg-type]
    chord = parse_chord(name)
    found = chord_strokes(midi, chord, neck)
    for stroke in found:
        sounds = shape_midis(stroke.shape, neck.tuning)
        others = tuple(sounds[4 - string] for string in stroke.struck[:-1])
        assert stroke.struck in struck_down_to(stroke.string)
        assert sounds[4 - stroke.string] == midi
        assert stroke.shape[4 - stroke.string] == stroke.fret <= neck.limits.highest_fret
        assert {other % 12 for other in others} <= chord.pitch_classes
        assert stroke.heard == audibility(midi, others)
        assert can_hold(stroke.shape, 380.0)
    assert list(found) == sorted(found, key=lambda stroke: stroke.cost)
    assert len({(stroke.struck, stroke.shape) for stroke in found}) == len(found)


def test_beginners_are_spared_barres_stretches_and_high_chords() -> None:
    for stroke in chord_strokes(74, parse_chord("G"), hands("beginner")):
        others = [
            fret for string, fret in zip((4, 3, 2, 1), stroke.shape, strict=True) if string != stroke.string
        ]
        assert sum(fret > 0 for fret in stroke.shape) <= 3
        assert max(others) <= 4
    assert not [s for s in chord_strokes(74, parse_chord("Dm"), hands("beginner")) if s.rolled]
    assert (0, 5, 5, 5) in {
        s.shape for s in chord_strokes(74, parse_chord("Dm"), hands("improving")) if s.rolled
    }


def test_a_known_shape_is_allowed_where_it_needs_a_barre() -> None:
    assert (3, 2, 1, 1) in {
        stroke.shape for stroke in chord_strokes(70, parse_chord("Bb"), hands("beginner"))
    }
    assert (2, 2, 2, 3) in {
        stroke.shape for stroke in chord_strokes(72, parse_chord("D7"), hands("beginner"))
    }


def test_what_makes_a_roll_dearer() -> None:
    by_name = {
        text(stroke): stroke.cost
        for stroke in chord_strokes(72, parse_chord("C"), hands())
        if stroke.shape == (0, 0, 0, 3)
    }
    assert by_name["3/0 2/0 1/3"] - by_name["4/0 3/0 2/0 1/3"] == pytest.approx(COSTS["start on string 3"])
    one = by_name["2/0 1/3"] - by_name["4/0 3/0 2/0 1/3"]
    assert one == pytest.approx(2 * COSTS["start on string 3"] + COSTS["only one string under the tune"])


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
