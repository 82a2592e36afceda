"""What stands at each beat of a piece: chords, phrases, places; and the tune as one run of notes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tercet.arranging.piece import Piece, SectionPlace, begun, piece_of
from tercet.arranging.tune import row_notes
from tercet.song import Song
from tercet.theory import INSTRUMENTS, TUNINGS
from tests.arranging.written import beats_of, section, song


def piece(made: Song, tuning: str = "high-g") -> Piece:
    return piece_of(made, TUNINGS[tuning])


def test_how_many_beats_have_begun() -> None:
    starts = [0.0, 1.5, 4.0]
    assert [begun(starts, Fraction(beat)) for beat in ("-1", "0", "1", "3/2", "7/2", "4", "9")] == [
        0,
        1,
        1,
        2,
        2,
        3,
        3,
    ]


def test_chord_changes_run_through_the_piece() -> None:
    made = piece(song(section("a", "C4:4 | C4:4 | C4:4 | C4:4", "C | C G7 | | N.C.")))
    changes = [(change.start_beat, change.span.chord) for change in made.chords]
    assert beats_of(*changes) == ["0 C", "6 G7", "12 None"]
    spans = [made.chord_at(Fraction(beat)) for beat in (0, 5, 6, 11, 12)]
    assert [str(span.chord) for span in spans] == ["C", "C", "G7", "G7", "None"]


def test_a_shape_of_its_own_is_a_change() -> None:
    made = piece(song(section("a", "C4:4 | C4:4", "C | C[0003]")))
    assert [change.span.shape for change in made.chords] == [None, (0, 0, 0, 3)]


@pytest.mark.parametrize(
    ("start", "length", "chord", "comes"),
    [
        ("0", "1", "C", True),
        ("1", "1", "C", False),
        ("7/2", "1/2", "C", False),  # over before the change
        ("7/2", "1", "F", True),  # leans forward over it
        ("7/2", "3/4", "C", False),  # leans less than half over it
        ("3", "2", "C", False),  # a whole pulse early: the old chord
        ("4", "4", "F", True),
        ("23/2", "1", "F", False),  # no chord comes
        ("12", "1", "None", False),
    ],
)
def test_the_chord_that_a_note_is_rolled_over(start: str, length: str, chord: str, comes: bool) -> None:
    made = piece(song(section("a", "C4:4 | C4:4 | C4:4 | C4:4", "C | F | | N.C.")))
    span, comes_now = made.chord_under(Fraction(start), Fraction(length))
    assert (str(span.chord), comes_now) == (chord, comes)


def test_phrases_are_lines_until_there_are_breaths() -> None:
    verse = section("verse", "E4 || C4:4 | C4:2 .:2", "|| C | C")
    lines = replace(verse, lines=(verse.lines[0], section("x", "D4:4 | D4:3 .", "G | G").lines[0]))
    plain = piece(song(lines, form="verse verse"))
    # bar 0 leads in; the second playing begins with its pick-up, in the bar before
    assert plain.phrase_starts == (0.0, 9.0, 16.0, 25.0)
    breathing = section("verse", "C4:4 | C4 C C C", "C | C", marks="| ,@3")
    assert piece(song(breathing)).phrase_starts == (0.0, 6.0)


def test_spots_of_a_pick_up() -> None:
    verse = section("verse", "E4 || C4:4 | C4:3 .", "|| C | C")
    made = piece(song(verse, form="verse verse"))
    led_in = SectionPlace("verse", 0, Fraction(-1))
    first, again, before = made.spot(0, Fraction(0)), made.spot(2, Fraction(3)), made.spot(2, Fraction(2))
    assert beats_of(first.beat, again.beat, before.beat) == ["0", "8", "7"]
    assert [first.place, again.place, before.place] == [led_in, led_in, SectionPlace("verse", 2, Fraction(2))]
    assert [first.pass_number, again.pass_number, before.pass_number] == [1, 2, 1]
    assert [first.phrase, again.phrase, before.phrase] == [0, 1, 0]


def test_ties_are_joined_over_bars() -> None:
    made = piece(song(section("a", "C4:3 D4 | =:2 = E4[roll] | . E4:3", "C | C | C")))
    notes = [(note.start_beat, note.length_beat, note.end_beat, note.midi) for note in row_notes(made)]
    assert beats_of(*notes) == ["0 3 3 60", "3 4 7 62", "7 1 8 64", "9 3 12 64"]


def test_a_position_is_a_pitch_of_its_tuning() -> None:
    made = song(section("a", "s1f3 s4f0 C4:2", "C"))
    assert [note.midi for note in row_notes(piece(made))] == [72, 67, 60]
    assert [note.midi for note in row_notes(piece(made, "low-g"))] == [72, 55, 60]


def test_a_between_row_is_a_run_of_its_own() -> None:
    made = piece(song(section("a", "C4:4 | C4:4 | C4:4", "C | C | C", between=".:3 E4 | | G4:4")))
    notes = [(note.start_beat, note.length_beat, note.midi) for note in row_notes(made, "between")]
    assert beats_of(*notes) == ["3 1 64", "8 4 67"]


def test_accents_by_layer() -> None:
    made = piece(song(section("a", "C4:2 D4:2", "C", marks="accent@1 strums:accent@3")))
    assert made.accented(made.spot(0, Fraction(0)), "melody")
    assert made.accented(made.spot(0, Fraction(0)), "strums")
    assert made.accented(made.spot(0, Fraction(2)), "strums")
    assert not made.accented(made.spot(0, Fraction(2)), "melody")
    assert not made.accented(made.spot(0, Fraction(1)), "melody")


@pytest.mark.parametrize(
    ("meter", "tempo", "pulse", "part", "beat_s"),
    [("4/4", 120, 1, "1/2", 0.5), ("6/8", 50, 3, "1", 0.4), ("2/2", 60, 1, "1/2", 1.0)],
)
def test_pulse_and_beat(meter: str, tempo: int, pulse: int, part: str, beat_s: float) -> None:
    made = piece(song(section("a", "C4:4", "C", meter=meter), meter=meter, tempo=Fraction(tempo)))
    assert (made.pulse_beat, made.part_beat) == (Fraction(pulse), Fraction(part))
    assert made.beat_s == pytest.approx(beat_s)


def test_where_each_playing_begins_and_ends() -> None:
    verse, chorus = section("verse", "C4:4 | C4:4", "C | C"), section("chorus", "C4:4", "F")
    made = piece(song(verse, chorus, form="verse chorus verse"))
    assert beats_of(*made.visit_beats) == ["0 8", "0 8", "8 12", "12 20", "12 20"]


@pytest.mark.parametrize(
    ("said", "own", "tuning", "expected"),
    [
        ("", "high-g", "high-g", "concert"),
        ("", "high-g", "baritone", "baritone"),
        ("", "baritone", "baritone", "baritone"),
        ("", "baritone", "low-g", "concert"),
        ("tenor", "high-g", "low-g", "tenor"),
        ("tenor", "high-g", "baritone", "baritone"),
        ("tenor", "baritone", "baritone", "tenor"),
        ("baritone", "baritone", "high-g", "concert"),
        ("baritone", "high-g", "high-g", "baritone"),
        ("custom", "high-g", "low-g", "custom"),
        ("custom", "high-g", "baritone", "custom"),
    ],
)
def test_the_size_follows_the_tuning_unless_the_song_says_otherwise(
    said: str, own: str, tuning: str, expected: str
) -> None:
    length_mm = INSTRUMENTS[said].scale_length_mm if said in INSTRUMENTS else 400.0
    written = replace(song(section("a", "E4:4", "C")), instrument=said, scale_length_mm=length_mm, tuning=own)
    piece = piece_of(written, TUNINGS[tuning])
    assert piece.song.instrument == expected
    expected_mm = INSTRUMENTS[expected].scale_length_mm if expected in INSTRUMENTS else length_mm
    assert piece.song.scale_length_mm == piece.hands.scale_length_mm == expected_mm
    assert piece_of(piece.song, TUNINGS[tuning]).song == piece.song
