"""Which notes lie on a neck, held against every fret written out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.neck import has_note, octaves_onto
from tercet.theory import LAST_FRET, TUNINGS, Pitch, Tuning, tuning_of_pitches

FIFTHS = tuning_of_pitches(tuple(map(Pitch.parse, ("G3", "D4", "A4", "E5"))))
A_GAP = tuning_of_pitches(tuple(map(Pitch.parse, ("C2", "D2", "C5", "D5"))))
NECKS = (*TUNINGS.values(), FIFTHS, A_GAP)


@given(tuning=st.sampled_from(NECKS), midi=st.integers(0, 127))
def test_a_note_is_moved_by_whole_octaves_to_the_nearest_place(tuning: Tuning, midi: int) -> None:
    places = {pitch.midi + fret for pitch in tuning.open_pitches for fret in range(LAST_FRET + 1)}
    assert has_note(tuning, midi) == (midi in places)
    octaves = octaves_onto(tuning, midi)
    assert midi + 12 * octaves in places
    nearer = range(-abs(octaves) + 1, abs(octaves))
    assert not any(midi + 12 * other in places for other in nearer)
    assert octaves >= 0 or midi - 12 * octaves not in places, "of two equally near, the higher"


@pytest.mark.parametrize(
    ("tuning", "note", "octaves"),
    [
        ("high-g", "B3", 1),
        ("high-g", "C4", 0),
        ("high-g", "C6", 0),
        ("high-g", "C#6", -1),
        ("low-g", "F#3", 1),
        ("low-g", "G3", 0),
        ("baritone", "C2", 2),
        ("baritone", "A5", -1),
    ],
)
def test_known_places(tuning: str, note: str, octaves: int) -> None:
    assert octaves_onto(TUNINGS[tuning], Pitch.parse(note).midi) == octaves
