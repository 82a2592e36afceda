"""Every length that the grammar accepts, in every meter, comes through all that is made of a song."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import arrange, song_tuning
from tercet.arranging.tab import tab_text
from tercet.exchange.abc import abc_bytes
from tercet.exchange.midi import plain_midi_bytes
from tercet.exchange.musicxml import musicxml_bytes
from tercet.performing import lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.publish.pictures.handout import handout_pictures
from tercet.publish.score.engraving import engrave
from tercet.song.reader import parse_song

FINEST = ("1/256", "1/512", "1/768", "1/1000", "2/511", "0.001", "1/7", "3/1000")


def everything_made_of(text: str) -> None:
    song = parse_song(text)
    arrangement = arrange(song, song_tuning(song))
    engraving = engrave(arrangement)
    for gesture, ids in zip(arrangement.gestures, engraving.score.gesture_ids, strict=True):
        if any(note.part == "tune" for note in gesture.notes):
            assert ids.note
    take = perform(arrangement, lay_out(arrangement, count_in_bars=1))
    assert all(note.length_s > 0 for note in take.notes)
    assert musicxml_bytes(arrangement)[0]
    assert abc_bytes(song)[0]
    assert plain_midi_bytes(song)[0]
    assert midi_bytes(arrangement, take)
    assert tab_text(arrangement)
    assert handout_pictures(arrangement)


def text_of(lower: int, fine: Fraction) -> str:
    rest = 4 - 2 * fine
    return (
        f"title: Fine\nkey: C major\nmeter: 4/{lower}\ntempo: 60\nsections:\n  tune: |\n    chords  C | G\n"
        f"    melody  C4:{fine} E:{fine} G4:{rest} | A4:{rest} .:{2 * fine}\n"
    )


@pytest.mark.parametrize("lower", [1, 4, 32])
@pytest.mark.parametrize("length", FINEST)
def test_the_finest_lengths(length: str, lower: int) -> None:
    everything_made_of(text_of(lower, Fraction(length)))


@given(
    st.fractions(Fraction(1, 1000), Fraction(3, 2), max_denominator=1000),
    st.sampled_from((1, 2, 4, 8, 16, 32)),
)
@settings(max_examples=15, deadline=None)
def test_any_length_in_any_meter(length: Fraction, lower: int) -> None:
    everything_made_of(text_of(lower, length))
