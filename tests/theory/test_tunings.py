"""Instruments and tunings."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import ParameterError
from tercet.theory import INSTRUMENTS, LAST_FRET, TUNINGS, Pitch, Tuning, tuning_named, tuning_of_pitches
from tercet.theory.tunings import HIGHEST_OPEN, LOWEST_OPEN, allowed_open


def pitches(text: str) -> tuple[Pitch, ...]:
    return tuple(Pitch.parse(word) for word in text.split())


@pytest.mark.parametrize(
    ("name", "open_midis", "reentrant", "lowest", "highest"),
    [
        ("high-g", (67, 60, 64, 69), True, 60, 84),
        ("low-g", (55, 60, 64, 69), False, 55, 84),
        ("baritone", (50, 55, 59, 64), False, 50, 79),
    ],
)
def test_named_tunings(
    name: str, open_midis: tuple[int, ...], reentrant: bool, lowest: int, highest: int
) -> None:
    tuning = tuning_named(name)
    assert tuning.name == name
    assert tuple(tuning.open_midi(string) for string in (4, 3, 2, 1)) == open_midis
    assert tuning.reentrant is reentrant
    assert (tuning.lowest_midi, tuning.highest_midi) == (lowest, highest)


def test_tables() -> None:
    assert set(TUNINGS) == {"high-g", "low-g", "baritone"}
    assert {name: one.scale_length_mm for name, one in INSTRUMENTS.items()} == {
        "soprano": 346.0,
        "concert": 380.0,
        "tenor": 430.0,
        "baritone": 510.0,
    }
    assert {one.tuning for one in INSTRUMENTS.values()} <= set(TUNINGS)
    assert LAST_FRET == 15


def test_a_string_at_a_fret() -> None:
    tuning = tuning_named("high-g")
    assert [tuning.midi(1, 0), tuning.midi(1, 3), tuning.midi(4, 2), tuning.midi(3, 12)] == [69, 72, 69, 72]


def test_what_is_no_string_and_no_fret() -> None:
    tuning = tuning_named("low-g")
    for string in (0, 5, -1):
        with pytest.raises(ParameterError, match=rf"a string must be 1 to 4 \(got {string}\)"):
            tuning.open_midi(string)
    with pytest.raises(ParameterError, match=r"a fret must be 0 or more \(got -1\)"):
        tuning.midi(1, -1)


def test_four_notes_make_a_tuning() -> None:
    tuning = tuning_of_pitches(pitches("A4 D4 F#4 B4"))
    assert tuning.name == "custom"
    assert tuning.reentrant
    assert tuning.open_midi(2) == 66
    assert isinstance(tuning, Tuning)


@pytest.mark.parametrize(
    ("text", "name"),
    [("G4 C4 E4 A4", "high-g"), ("G3 B#3 Fb4 A4", "low-g"), ("D3 G3 B3 E4", "baritone")],
)
def test_the_notes_of_a_named_tuning_are_that_tuning(text: str, name: str) -> None:
    assert tuning_of_pitches(pitches(text)) == TUNINGS[name]


@pytest.mark.parametrize(
    ("text", "outside", "instead"),
    [
        ("G9 C4 E4 A4", "G9", "G5"),
        ("G4 C4 E4 A#5", "A#5", "A#4"),
        ("G4 C4 D#1 A4", "D#1", "D#2"),
        ("C-1 C4 E4 A4", "C-1", "C2"),
        ("G4 Fb1 E4 Bbb5", "", ""),
        ("E1 A5 E1 A5", "", ""),
        ("B#5 C4 E4 A4", "B#5", "B#4"),
    ],
)
def test_strings_are_within_what_can_be_played(text: str, outside: str, instead: str) -> None:
    if not outside:
        assert all(
            0 <= tuning_of_pitches(pitches(text)).midi(string, LAST_FRET) <= 127 for string in (1, 2, 3, 4)
        )
        return
    with pytest.raises(ParameterError, match=rf"from E1 to A5 \(got {outside}; perhaps {instead}\)"):
        tuning_of_pitches(pitches(text))


@given(st.builds(Pitch, st.sampled_from("ABCDEFG"), st.integers(-2, 2), st.integers(0, 8)))
def test_what_is_proposed_is_allowed_and_has_the_same_name(pitch: Pitch) -> None:
    allowed = allowed_open(pitch)
    assert allowed_open(allowed) == allowed
    assert allowed.name == pitch.name
    assert (allowed == pitch) == (LOWEST_OPEN.midi <= pitch.midi <= HIGHEST_OPEN.midi)


def test_what_is_no_tuning() -> None:
    with pytest.raises(
        ParameterError, match=r"must be high-g, low-g or baritone, or four notes \(got guitar\)"
    ):
        tuning_named("guitar")
    with pytest.raises(ParameterError, match=r"four notes, string 4 first \(got 3\)"):
        tuning_of_pitches(pitches("G4 C4 E4"))
