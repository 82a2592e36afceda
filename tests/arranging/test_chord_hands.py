"""Which hand is formed for a chord, and how its shape is shown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.arranging.chord_hands import chord_hand, shown_shape, sounds_chord
from tercet.neck import COMMON_SHAPES, shape_midis
from tercet.neck.demands import LIMITS, Hands
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import OPEN_HAND, hands_up_to
from tercet.song import Players
from tercet.theory import TUNINGS, parse_chord
from tests.arranging.strategies import chord_names

Shape = tuple[int, int, int, int]
Held = tuple[tuple[int, int], ...]


def hands(players: Players = "improving", tuning: str = "high-g", scale_length_mm: float = 380.0) -> Hands:
    return Hands(TUNINGS[tuning], scale_length_mm, LIMITS[players])


def formed(
    chord: str,
    neck: Hands,
    held: Held = (),
    strings: tuple[int, ...] = (4, 3, 2, 1),
    tune_midi: int | None = None,
) -> Shape | None:
    """Return the shape that an open hand forms."""
    hand = chord_hand(parse_chord(chord), neck, OPEN_HAND, held, strings, tune_midi)
    return None if hand is None else hand.frets


@pytest.mark.parametrize("tuning", ["high-g", "low-g"])
@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
@pytest.mark.parametrize(("name", "digits"), COMMON_SHAPES.items())
def test_a_chord_is_strummed_in_the_shape_that_is_taught(
    name: str, digits: str, players: Players, tuning: str
) -> None:
    assert formed(name, hands(players, tuning)) == tuple(int(digit) for digit in digits)


def test_a_shape_beside_a_held_note() -> None:
    assert formed("Dm", hands("beginner"), ((1, 5),)) is None
    assert formed("Dm", hands("beginner"), ((1, 5),), (4, 3)) == (2, 2, 0, 5)
    assert formed("Dm", hands(), ((2, 1),)) == (2, 2, 1, 0)
    assert formed("Dm", hands(), ((1, 12),), (4, 3)) is None


def test_a_hand_goes_on_from_the_one_before() -> None:
    d_minor = parse_chord("Dm")
    f_major = Hand((2, 0, 1, 0), (2, 0, 1, 0), 1)
    high_f = hands_up_to(hands("free")).usual_hand((10, 9, 8, 8))
    assert high_f is not None
    from_f = chord_hand(d_minor, hands(), f_major)
    assert from_f is not None
    assert (from_f.frets, from_f.fingers) == ((2, 2, 1, 0), (2, 3, 1, 0))
    assert formed("Bb", hands("free")) == (3, 2, 1, 1)
    high = chord_hand(parse_chord("Bb"), hands("free"), high_f)
    assert high is not None
    assert min(fret for fret in high.frets if fret) >= 5


@pytest.mark.parametrize(("tune_midi", "string_1"), [(55, 3), (64, 3), (81, 2), (None, 2)])
def test_of_shapes_that_cost_the_same_the_one_further_from_the_tune_is_held(
    tune_midi: int | None, string_1: int
) -> None:
    shape = formed("Cmaj7", hands("beginner"), ((4, 4),), (3, 2, 1), tune_midi)
    assert shape == (4, 0, 0, string_1)


@given(chord_names, st.sampled_from(list(TUNINGS)))
def test_a_formed_shape_sounds_the_chord(name: str, tuning: str) -> None:
    chord = parse_chord(name)
    shape = formed(name, hands("free", tuning))
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
