"""A written `between` row is a second voice: it changes how a note of the tune is struck, never whose note it is."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, arrange
from tercet.performing import Span, Timeline, perform
from tercet.song import Players, Song
from tercet.theory import TUNINGS, Tuning
from tests.arranging import strategies as made
from tests.arranging.laws import broken_laws, tune
from tests.arranging.written import arranged, messages, section, song, struck


def layers_of(arrangement: Arrangement) -> list[tuple[object, ...]]:
    """Return whose note each note of the tune is."""
    return [(gesture.start_beat, gesture.notes[-1].midi, gesture.layer) for gesture in tune(arrangement)]


@pytest.mark.parametrize("later", ["C4:4", "D6:4"])
def test_what_is_struck_beside_a_note_depends_on_no_later_section(later: str) -> None:
    """A later note far up the neck asks for more hands; an added note that is out of reach stays so."""
    verse = section("verse", "E4:2 C", "C", between="F5:2 .:2")
    played = arrange(song(verse, section("chorus", later, "C"), players="beginner"))
    first = [struck(gesture) for gesture in played.gestures if gesture.section == "verse"]
    alone = arrange(song(verse, players="beginner"))
    assert first == [struck(gesture) for gesture in alone.gestures]


@settings(max_examples=100)
@given(made.two_voices(), made.tunings)
def test_a_second_voice_never_changes_whose_note_a_note_of_the_tune_is(written: Song, tuning: Tuning) -> None:
    alone, together = arrange(made.one_voice(written), tuning), arrange(written, tuning)
    assert layers_of(together) == layers_of(alone)
    assert broken_laws(together) == {}


@settings(max_examples=40)
@given(made.two_voices(), made.tunings)
def test_every_note_of_the_tune_sounds_in_its_layer(written: Song, tuning: Tuning) -> None:
    arrangement = arrange(written, tuning)
    take = perform(arrangement, Timeline((Span(0, len(arrangement.bars) - 1),)))
    sounding = sorted((note.beat, note.midi, note.layer) for note in take.notes if note.part == "tune")
    assert sounding == sorted(layers_of(arrangement))


TUNES = {
    "4/4": ("G4 A4 B4:2 | C5:4 | A4:2 F4:2 | G4:4", "G | C | F | C", "D4:2 D4:2 | . E4:3 | F4:4 | E4:2 C4:2"),
    "3/4": ("E4 || A4:3 | D5:2 C5 | B4:3", "Am || Am | Dm | E7", "C4 || E4:3 | F4 A4 F4 | E4:2 D4"),
    "6/8": ("D4 || G4:3 B4 A4 G4 | A4:3 D4:3 | G4:6", "|| G | D7 | G", "|| B4:3 D4:3 | F#4:6 | D4:3 B4:3"),
    "12/8": ("C5:6 A4:3 F4:3 | G4:12", "F | C7", "A4:3 C5:3 F4:6 | E4:6 C4:6"),
}


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=TUNINGS)
@pytest.mark.parametrize("players", get_args(Players))
@pytest.mark.parametrize("meter", TUNES)
def test_whoever_plays_it_in_whatever_meter(meter: str, players: Players, tuning: Tuning) -> None:
    melody, chords, between = TUNES[meter]
    alone, together = (
        song(
            section("verse", melody, chords, meter=meter, **rows),
            form="verse verse verse",
            meter=meter,
            players=players,
        )
        for rows in ({}, {"between_2": between})
    )
    whole = arrange(together, tuning)
    assert layers_of(whole) == layers_of(arrange(alone, tuning))
    assert broken_laws(whole) == {}
    plain = arrange(replace(together, form=together.form[:1]), tuning)
    assert {gesture.layer for gesture in tune(plain)} >= {"melody"}


def test_both_voices_are_held_by_one_hand() -> None:
    made = arranged("G4 A4 B4:2 | C5:4", "G | C", between="D4:2 D4:2 | .:1 E4:3")
    assert [(str(g.start_beat), g.layer, struck(g)) for g in made.gestures if g.layer != "strums"] == [
        ("0", "melody", "2/3"),
        ("0", "between", "3/2"),
        ("1", "between", "1/0"),
        ("2", "melody", "1/2"),
        ("2", "between", "3/2"),
        ("4", "melody", "4/0 3/0 2/0 1/3"),
        ("5", "between", "2/0"),
    ]
    assert messages(made) == []


def test_the_tune_makes_room_for_the_string_that_the_other_voice_needs() -> None:
    """E4 alone would be open on string 2, F4 too; D4 has only string 3, and C4 only that one, too."""
    made = arranged("D4:2[alone] E4:2", "N.C.", between="F4:2 C4:2")
    assert [struck(gesture) for gesture in made.gestures] == ["3/2", "2/1", "2/0", "3/0"]


@pytest.mark.parametrize(("low", "high"), [("C4", "D4"), ("D4", "C#4"), ("C4", "Eb4")])
def test_two_notes_that_only_one_string_has_are_told_and_the_tune_is_played(low: str, high: str) -> None:
    made = arranged(f"{high}:4", "N.C.", between=f"{low}:4")
    assert [gesture.notes[-1].part for gesture in made.gestures] == ["tune"]
    assert messages(made) == [
        f"the added {low} is left out: no hand has a string for it together with the tune's {high}"
    ]


def test_hands_that_can_not_stretch_so_far_are_told() -> None:
    for scale_length_mm in (380.0, 510.0):
        made = arranged(
            "D5:4[1]",
            "D",
            between="F#4:4[2]",
            players="beginner",
            instrument="custom",
            scale_length_mm=scale_length_mm,
        )
        wide = "the added F#4 and the tune's D5 at once ask more of the hands than `players: beginner`"
        assert messages(made) == [wide] * (scale_length_mm > 500)
        assert [struck(gesture) for gesture in made.gestures][:2] == ["1/5", "2/2"]


def test_a_note_that_the_tune_can_not_leave_alone_stops_early_and_is_told() -> None:
    made = arranged("A4 G4[4321] A4:2", "C", between="E4:4")
    assert "the added E4 stops early: the tune needs its string or its finger" in messages(made)
    take = perform(made, Timeline((Span(0, 0),)), dry=True)
    (added,) = [note for note in take.notes if note.part == "added"]
    struck_again = min(
        note.onset_s for note in take.notes if note.string == added.string and note is not added
    )
    assert added.onset_s + added.length_s <= struck_again
