"""Keys, how they spell notes, and how they are transposed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import ParameterError
from tercet.theory import Key, Pitch, parse_key, spell, transpose_key

MAJORS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
MINORS = ("Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#")
SIGNATURES = {
    f"{tonic} {mode}": place - 7
    for mode, tonics in (("major", MAJORS), ("minor", MINORS))
    for place, tonic in enumerate(tonics)
}
"""Every key with its sharps (positive) or flats (negative), from seven flats to seven sharps."""

SCALES = {
    "C major": "C D E F G A B",
    "A minor": "A B C D E F G",
    "F major": "F G A Bb C D E",
    "D minor": "D E F G A Bb C",
    "G minor": "G A Bb C D Eb F",
    "A major": "A B C# D E F# G#",
    "E major": "E F# G# A B C# D#",
    "Eb major": "Eb F G Ab Bb C D",
    "F# major": "F# G# A# B C# D# E#",
    "Gb major": "Gb Ab Bb Cb Db Eb F",
    "C# minor": "C# D# E F# G# A B",
}
names = st.sampled_from(list(SIGNATURES))


@pytest.mark.parametrize(("name", "fifths"), SIGNATURES.items())
def test_every_key_signature(name: str, fifths: int) -> None:
    key = parse_key(name)
    assert key.fifths == fifths
    assert str(key) == name


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("G", "G major"),
        ("Am", "A minor"),
        ("F#m", "F# minor"),
        ("B♭", "Bb major"),
        ("c♯m".capitalize(), "C# minor"),
        ("D min", "D minor"),
        ("  Eb   maj ", "Eb major"),
        ("E Minor", "E minor"),
        ("A MAJOR", "A major"),
    ],
)
def test_ways_to_write_a_key(text: str, name: str) -> None:
    assert str(parse_key(text)) == name


@pytest.mark.parametrize("text", ["", "H minor", "a minor", "AM", "A dorian", "A##", "A minor 7"])
def test_what_is_no_key(text: str) -> None:
    with pytest.raises(ParameterError, match="a key must be a note and major or minor, such as A minor"):
        parse_key(text)


@pytest.mark.parametrize(
    ("text", "count"), [("G# major", 8), ("Fb major", 8), ("Cb minor", 10), ("B# major", 12)]
)
def test_keys_without_a_signature_are_refused(text: str, count: int) -> None:
    with pytest.raises(ParameterError, match=f"at most seven sharps or flats .* has {count}"):
        parse_key(text)


@pytest.mark.parametrize(("name", "scale"), SCALES.items())
def test_a_scale_is_spelt_as_its_signature_says(name: str, scale: str) -> None:
    key = parse_key(name)
    steps = (0, 2, 3, 5, 7, 8, 10) if key.minor else (0, 2, 4, 5, 7, 9, 11)
    assert " ".join(spell(60 + key.tonic_class + step, key).name for step in steps) == scale


@pytest.mark.parametrize(
    ("midi", "name", "written"),
    [
        (68, "A minor", "G#4"),  # the raised seventh
        (66, "G minor", "F#4"),
        (66, "C major", "F#4"),
        (70, "C major", "Bb4"),
        (61, "D minor", "C#4"),
        (63, "F major", "Eb4"),
        (63, "E minor", "D#4"),
        (59, "Gb major", "Cb4"),
        (60, "C# major", "B#3"),
        (0, "C major", "C-1"),
        (127, "C major", "G9"),
    ],
)
def test_notes_outside_the_scale_and_at_octave_edges(midi: int, name: str, written: str) -> None:
    assert str(spell(midi, parse_key(name))) == written


@given(st.integers(0, 127), names)
def test_spelling_keeps_the_pitch(midi: int, name: str) -> None:
    assert spell(midi, parse_key(name)).midi == midi


@pytest.mark.parametrize(
    ("name", "semitones", "moved"),
    [
        ("C major", 5, "F major"),
        ("A minor", -5, "E minor"),
        ("C major", 6, "Gb major"),
        ("A minor", 6, "Eb minor"),
        ("C major", 1, "Db major"),
        ("E minor", -1, "Eb minor"),
        ("Bb major", 2, "C major"),
        ("F# minor", 12, "F# minor"),
        ("Ab minor", 0, "G# minor"),
    ],
)
def test_transposed_keys(name: str, semitones: int, moved: str) -> None:
    assert str(transpose_key(parse_key(name), semitones)) == moved


@given(names, st.integers(-36, 36))
def test_transposed_keys_have_a_signature(name: str, semitones: int) -> None:
    key = parse_key(name)
    moved = transpose_key(key, semitones)
    assert moved.tonic_class == (key.tonic_class + semitones) % 12
    assert moved.minor == key.minor
    assert abs(moved.fifths) <= 6


def test_a_key_is_a_value() -> None:
    assert Key("B", -1, False) == parse_key("Bb")
    assert spell(70, Key("B", -1, False)) == Pitch("B", -1, 4)
