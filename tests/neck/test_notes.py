"""Notes of a key on the neck."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import ParameterError
from tercet.neck.notes import degree_of, key_notes, neck_note
from tercet.theory import TUNINGS, Key, Pitch, Tuning, parse_key

KEYS = [
    Key(letter, alter, minor)
    for letter in "ABCDEFG"
    for alter in (-1, 0, 1)
    for minor in (False, True)
    if -7 <= Key(letter, alter, minor).fifths <= 7
]


@pytest.mark.parametrize(
    ("key", "notes", "degrees"),
    [
        ("C major", "G A B C D E F G", "5 6 7 1 2 3 4 5"),
        ("A minor", "G A B C D E F G", "7 1 2 3 4 5 6 7"),
        ("Eb major", "G Ab Bb C D Eb F G", "3 4 5 6 7 1 2 3"),
        ("F# major", "G# A# B C# D# E# F#", "2 3 4 5 6 7 1"),
        ("Ab minor", "Ab Bb Cb Db Eb Fb Gb", "1 2 3 4 5 6 7"),
    ],
)
def test_a_string_has_the_notes_of_the_key_as_it_spells_them(key: str, notes: str, degrees: str) -> None:
    string = [note for note in key_notes(parse_key(key), TUNINGS["high-g"], 12) if note.string == 4]
    assert [note.pitch.name for note in string] == notes.split()
    assert [note.degree for note in string] == degrees.split()


@given(key=st.sampled_from(KEYS), tuning=st.sampled_from(list(TUNINGS.values())), frets=st.integers(3, 18))
def test_every_note_sounds_where_it_lies_and_all_seven_steps_are_there(
    key: Key, tuning: Tuning, frets: int
) -> None:
    notes = key_notes(key, tuning, frets)
    for note in notes:
        assert note.pitch.midi == tuning.midi(note.string, note.fret)
        assert note.degree == str(note.step)
    if frets >= 12:
        for string in (1, 2, 3, 4):
            assert {note.step for note in notes if note.string == string} == set(range(1, 8))
    letters = {note.step: note.pitch.letter for note in notes}
    assert len(set(letters.values())) == len(letters), "each step has a letter of its own"


@pytest.mark.parametrize(
    ("pitch", "key", "degree"),
    [("G#4", "A minor", "#7"), ("Bb4", "C major", "b7"), ("F#4", "C major", "#4"), ("B4", "C major", "7")],
)
def test_steps_that_are_raised_or_lowered_say_so(pitch: str, key: str, degree: str) -> None:
    assert degree_of(Pitch.parse(pitch), parse_key(key)) == degree


def test_a_note_outside_the_key_is_spelt_as_the_key_would() -> None:
    note = neck_note(4, 1, parse_key("A minor"), TUNINGS["high-g"])
    assert (str(note.pitch), note.degree, note.step) == ("G#4", "#7", 7)


@pytest.mark.parametrize("frets", [2, 19])
def test_a_neck_has_some_frets_but_not_too_many(frets: int) -> None:
    with pytest.raises(ParameterError, match="must have 3 to 18 frets"):
        key_notes(parse_key("C"), TUNINGS["high-g"], frets)
