"""Written pitches and their frequencies."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import ParameterError
from tercet.theory import Pitch, hz_of_midi


@pytest.mark.parametrize(
    ("text", "midi"),
    [
        ("C4", 60),
        ("A4", 69),
        ("C-1", 0),
        ("G9", 127),
        ("B#3", 60),
        ("Cb4", 59),
        ("F#4", 66),
        ("F♯4", 66),
        ("B♭3", 58),
        ("Ebb4", 62),
        ("F##4", 67),
        ("Fb4", 64),
    ],
)
def test_written_pitches(text: str, midi: int) -> None:
    pitch = Pitch.parse(text)
    assert pitch.midi == midi
    assert pitch.pitch_class == midi % 12
    assert str(pitch) == text.replace("♯", "#").replace("♭", "b")


@pytest.mark.parametrize("text", ["", "H4", "a4", "A", "A 4", "C###4", "4A", "A4.5", "A" + "9" * 5000])
def test_what_is_no_pitch(text: str) -> None:
    with pytest.raises(ParameterError, match="a pitch must be a letter A to G, #, b or nothing, an octave"):
        Pitch.parse(text)


@pytest.mark.parametrize("text", ["Cb-1", "G#9", "A99", "C-2"])
def test_pitches_outside_midi(text: str) -> None:
    with pytest.raises(ParameterError, match=f"within MIDI keys 0 to 127 .got {text}"):
        Pitch.parse(text)


def test_fields_are_checked() -> None:
    with pytest.raises(ParameterError, match=r"letter must be A to G \(got 'H'\)"):
        Pitch("H", 0, 4)
    with pytest.raises(ParameterError, match=r"must be -2 to 2 semitones \(got 3\)"):
        Pitch("C", 3, 4)


@given(st.sampled_from("ABCDEFG"), st.integers(-2, 2), st.integers(0, 8))
def test_what_is_written_is_read_again(letter: str, alter: int, octave: int) -> None:
    pitch = Pitch(letter, alter, octave)
    assert Pitch.parse(str(pitch)) == pitch
    assert pitch.name == str(pitch).rstrip("0123456789")


@pytest.mark.parametrize(
    ("midi", "hz"), [(69, 440.0), (57, 220.0), (60, 261.6256), (67, 391.9954), (69.5, 452.8930)]
)
def test_frequencies(midi: float, hz: float) -> None:
    assert hz_of_midi(midi) == pytest.approx(hz, abs=1e-4)
