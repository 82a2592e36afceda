"""Single notes that lead through the long spaces, where the song says `between: fill`."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.arranging.fill import scale_classes
from tercet.song import read_song
from tercet.theory import TUNINGS, parse_chord, parse_key, spell
from tests.arranging.laws import broken_laws, filling
from tests.arranging.written import messages, section, shape, song, struck, strums_of

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))


def filled(melody: str, chords: str, *, form: str = "", meter: str = "4/4", **more: Any) -> Arrangement:
    """Arrange a section of one line that is to be filled; rows by their names, settings by theirs."""
    rows = {
        name: more.pop(name) for name in ("between_row", "strum_row", "marks", "melody_2") if name in more
    }
    tuning = more.pop("on", None)
    verse = section("verse", melody, chords, meter=meter, **rows)
    return arrange(song(verse, form=form, meter=meter, between="fill", **more), tuning)


def notes_of(arrangement: Arrangement) -> list[str]:
    """Return beat, name, string and fret of each note that fills: ``"1 F4 3/5"``."""
    return [
        f"{gesture.start_beat} {spell(gesture.notes[0].midi, arrangement.song.key)} {struck(gesture)}"
        for gesture in filling(arrangement)
    ]


def test_without_the_setting_nothing_is_added() -> None:
    arrangement = arrange(song(section("verse", "G4:2 F4:2", "C")))
    assert {note.part for gesture in arrangement.gestures for note in gesture.notes} == {"tune", "chord"}


@pytest.mark.parametrize(
    ("melody", "chord", "expected"),
    [
        ("G4:2 F4 E4", "C", ["1 E4 3/4"]),  # over the held shape, a step before the next note
        ("G4:3 F4", "C", ["2 E4 3/4"]),  # the last pulse
        ("C5:4 | G4:4", "C | C", ["2 G4 4/0", "3 A4 4/2"]),  # under a long note the last two
        ("E4:3 C5", "C", ["2 D4 3/2", "5/2 C4 3/0"]),  # far to go: one half pulse more
        ("D5:3 D4", "C", ["2 G4 4/0", "5/2 E4 2/0"]),
        ("C5:3/2 G4:5/2 | C5:4", "C | C", ["3 E4 3/4"]),  # on the pulse, a whole one after an onset off it
        ("C5 E4 G4 E4", "C", []),  # no long space
        ("C5:3/2 E4:5/2", "C", []),  # too short, and the last note
        ("C5:2 .:2", "C", []),  # nothing to lead to
        ("C5:2 . C5", "C", []),  # a rest stays a rest
        ("C5:3 A4", "N.C.", []),
        ("C4:2 D4:2", "C", []),  # nothing below
        ("C3:2 E4:2", "C", []),  # nothing is held
    ],
)
def test_notes_lead_to_the_next_of_the_tune(melody: str, chord: str, expected: list[str]) -> None:
    arrangement = filled(melody, chord)
    assert notes_of(arrangement) == expected
    assert broken_laws(arrangement) == {}


@pytest.mark.parametrize(
    ("melody", "more", "expected"),
    [
        ("D5:3 D4", {"players": "beginner"}, ["2 E4 2/0"]),
        ("D5:3 D4", {"tempo": Fraction(150)}, ["2 E4 2/0"]),
        ("G4:6 | E4:6", {"meter": "6/8"}, ["3 F4 3/5"]),
        ("E5:6 | E4:6", {"meter": "6/8", "tempo": Fraction(60)}, ["3 G4 4/0", "5 F4 3/5"]),
        ("C5:4 | G4:4", {"on": TUNINGS["low-g"]}, ["2 E4 2/0", "3 F4 2/1"]),
        ("C5:4 | =:3 A4", {"between_row": ".:4 |"}, ["5 A4 4/2", "6 G4 4/0"]),
    ],
)
def test_who_plays_and_how_fast_decides(melody: str, more: dict[str, Any], expected: list[str]) -> None:
    arrangement = filled(melody, "C | C" if "|" in melody else "C", **more)
    assert notes_of(arrangement) == expected
    assert broken_laws(arrangement) == {}


@pytest.mark.parametrize(
    "rows",
    [
        {"between_row": ".:4 |"},
        {"between_row": ". E4 .:2 |"},
        {"strum_row": "d . . . |"},
        {"strum_row": ". . . . |"},
    ],
)
def test_what_is_written_wins(rows: dict[str, str]) -> None:
    arrangement = filled("C5:4 | G4:4", "C | C", **rows)
    assert notes_of(arrangement) == []
    assert broken_laws(arrangement) == {}


def test_a_lead_that_would_stop_at_a_written_bar_is_left_out() -> None:
    assert notes_of(filled("C5:4 | =:3 A4", "C | F", between_row="| .:4")) == []


def test_a_fermata_is_left_to_ring() -> None:
    path = next(path for path in SONGS if path.stem == "washing-up-branle")
    arrangement = arrange(replace(read_song(path), between="fill"))
    bars = {bar.number: bar for bar in arrangement.bars}
    held = [bar for bar in bars.values() if any(mark.kind == "fermata" for mark in bar.marks)]
    assert len(held) == 1
    assert notes_of(arrangement)
    fermata_beat = held[0].start_beat + 2
    assert [g for g in filling(arrangement) if fermata_beat <= g.start_beat < fermata_beat + 2] == []


def test_strums_of_the_pattern_leave_the_places_out() -> None:
    pulses = tuple("dddd")
    plain = arrange(song(section("verse", "C5:4 | G4:4", "C | C"), strum=pulses))
    made = filled("C5:4 | G4:4", "C | C", strum=pulses)
    assert [text.split()[0] for text in strums_of(plain)] == ["1", "2", "3", "5", "6", "7"]
    assert [text.split()[0] for text in strums_of(made)] == ["1", "5", "6", "7"]
    assert [gesture.start_beat for gesture in filling(made)] == [2, 3]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
def test_most_strums_stay(path: Path, players: Any) -> None:
    own = replace(read_song(path), players=players)
    for written in (own, replace(own, strum=None)):
        plain, made = (arrange(replace(written, between=between)) for between in ("as-written", "fill"))
        assert len(strums_of(made)) >= 0.6 * len(strums_of(plain))
        assert filling(made)


def test_a_lead_into_the_next_phrase_comes_first_then_one_from_a_longer_note_then_the_earlier_ones() -> None:
    """In seven bars the last of many half notes have no lead, unless a phrase ends with one of them."""

    def led(marks: str) -> list[Fraction]:
        melody = " | ".join(["C5:2 A4:2"] * 5 + ["C5:4", "C5:2 A4:2"])
        settings: dict[str, Any] = {"strum": tuple("d.dud.du"), "tempo": Fraction(80), "marks": marks}
        made = filled(melody, " | ".join(["F"] * 7), **settings)
        return [gesture.start_beat for gesture in filling(made)]

    phrase_beat, long_beats, early_beat, late_beat = (
        Fraction(17),
        [Fraction(22), Fraction(23)],
        Fraction(1),
        19,
    )
    without, ended = led(" |  |  |  |  |  | "), led(" |  |  |  | ,@3 |  | ")
    assert early_beat in without
    assert set(long_beats) <= set(without)
    assert phrase_beat not in without
    assert phrase_beat in ended
    assert late_beat not in (*without, *ended)
    assert set(long_beats) <= set(ended)


def test_a_space_that_is_the_only_one_is_filled_though_its_strums_give_way() -> None:
    made = filled("G4:2 F4 E4", "C", strum=tuple("dddd"))
    assert notes_of(made) == ["1 E4 3/4"]
    assert strums_of(made) == []


def test_what_a_filling_note_says_of_itself() -> None:
    made = filled("G4:2 F4:2", "C", form="verse verse")
    first, second = filling(made)
    assert (first.layer, first.action, first.notes[0].part) == ("between", "single", "added")
    assert (first.bar_number, first.section, first.section_bar, first.bar_beat) == (
        1,
        "verse",
        1,
        Fraction(1),
    )
    assert (first.length_beat, shape(first)) == (Fraction(1), "0433")
    assert (second.bar_number, second.pass_number) == (2, 2)
    assert messages(made) == []


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_filled_are_alike_on_every_pass_and_keep_the_tune(path: Path) -> None:
    written = read_song(path)
    for tuning in TUNINGS.values():
        plain, made = arrange(written, tuning), arrange(replace(written, between="fill"), tuning)
        assert broken_laws(made) == {}
        assert [g for g in made.gestures if g.notes[-1].part == "tune"] == [
            g for g in plain.gestures if g.notes[-1].part == "tune"
        ]
        assert filling(made)
        own = {bar.number for bar in made.bars if bar.own}
        own |= {number - 1 for number in own}
        known: dict[object, Gesture] = {}
        for gesture in filling(made):
            if gesture.bar_number not in own:
                place = (gesture.section, gesture.section_bar, gesture.bar_beat)
                assert known.setdefault(place, gesture).notes == gesture.notes


@pytest.mark.parametrize(
    ("chord", "key", "expected"),
    [
        ("C", "C major", "C D E F G A B"),
        ("D7", "C major", "C D E F# G A B"),
        ("Bb", "C major", "C D E F G A Bb"),
        ("E7", "A minor", "C D E F G# A B"),
        ("Am", "A minor", "C D E F G A B"),
        ("G", "G minor", "C D Eb F G A B"),
    ],
)
def test_the_scale_over_a_chord(chord: str, key: str, expected: str) -> None:
    classes = scale_classes(parse_chord(chord), parse_key(key))
    assert {spell(60 + tone, parse_key(key)).name for tone in classes} == set(expected.split())
