"""Notes and keys by their German names, as Do Re Mi, and spelt out."""

from __future__ import annotations

import pytest

from tercet.theory import parse_key
from tercet.theory.note_names import meant_key, notes_elsewhere


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("Es-Dur", "Eb major"),
        ("fis-Moll", "F# minor"),
        ("B-Dur", "Bb major"),
        ("b-moll", "Bb minor"),
        ("h-moll", "B minor"),
        ("B-major", "B major"),
        ("Key of G", "G major"),
        ("in the key of E flat", "Eb major"),
        ("gmaj", "G major"),
        ("A-minor", "A minor"),
        ("Mi menor", "E minor"),
        ("fa dièse mineur", "F# minor"),
        ("Si♭ majeur", "Bb major"),
        ("La maggiore", "A major"),
    ],
)
def test_a_key_in_other_words(written: str, key: str) -> None:
    assert meant_key(written) == key
    assert str(parse_key(key)) == key


@pytest.mark.parametrize("written", ["e", "b", "none", "Am7", "", "-", "dorian", "Gis-Dur", "major"])
def test_no_key_is_made_up(written: str) -> None:
    """A small letter alone is a minor key to some; G sharp major has no signature."""
    assert meant_key(written) == ""


def test_a_word_may_name_more_than_one_note() -> None:
    assert [(note.name, note.rest) for note in notes_elsewhere("Fis4")] == [("F", "is4"), ("F#", "4")]
    assert [note.name for note in notes_elsewhere("Sib")] == ["Bb"]
    assert list(notes_elsewhere("xyz")) == []
