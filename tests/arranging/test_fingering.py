"""The tune on the strings: which notes are rolled, how pins are kept, what is told where that can't be."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from tercet.arranging import arrange, song_tuning
from tercet.errors import RequestError
from tercet.neck import COMMON_SHAPES, shape_midis
from tercet.song import Players, Section, Song, transpose_song
from tercet.theory import TUNINGS, Pitch, parse_chord
from tests.arranging.laws import broken_laws
from tests.arranging.written import (
    arranged,
    beats_of,
    messages,
    of_layer,
    section,
    shape,
    song,
    struck,
    tune_of,
)

LOW_G, BARITONE = TUNINGS["low-g"], TUNINGS["baritone"]


def layers(made: Song) -> list[tuple[str, str]]:
    return [
        (gesture.layer, gesture.action)
        for gesture in arrange(made).gestures
        if gesture.notes[-1].part == "tune"
    ]


def test_rolls_on_downbeats_changes_and_long_notes_single_notes_between() -> None:
    made = song(section("a", "A4 A C5 A | A4 . A:2 | A A A A", "Am F | F | N.C."))
    assert layers(made) == [
        ("melody", "roll"),  # the downbeat
        ("between", "single"),
        ("melody", "roll"),  # F comes
        ("between", "single"),
        ("melody", "roll"),
        ("melody", "roll"),  # two quarters
        ("melody", "single"),  # a downbeat without a chord
        *[("between", "single")] * 3,
    ]


@pytest.mark.parametrize(
    ("meter", "melody", "actions"),
    [
        ("6/8", "C5:2 C5 C5:3", ["roll", "single", "roll"]),  # a dotted pulse is long
        ("3/4", "C5:1/2 C5:3/2 C5", ["roll", "single", "single"]),
        ("4/4", "C5:1/5 C5:4/5 C5:3", ["single", "single", "roll"]),  # shorter than an eighth
        ("4/4", "C5:1/4 C5:3/4 C5:3", ["roll", "single", "roll"]),  # so slow that there is time all the same
        ("6/8", "C5:1/2 C5:5/2 C5:3", ["single", "single", "roll"]),
    ],
)
def test_what_is_long_and_what_is_short(meter: str, melody: str, actions: list[str]) -> None:
    made = arrange(song(section("a", melody, "C", meter=meter), meter=meter, tempo=Fraction(60)))
    assert [gesture.action for gesture in made.gestures if gesture.notes[-1].part == "tune"] == actions


def test_no_roll_where_the_thumb_has_no_time() -> None:
    slow = song(
        section("a", "C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2", "C:2 F:2"),
        tempo=Fraction(190),
    )
    fast = song(*slow.sections, tempo=Fraction(210))
    assert [action for _, action in layers(slow)] == ["roll", "single", "single", "single"] * 2
    assert [action for _, action in layers(fast)] == ["single"] * 8


def test_quick_notes_are_not_rolled_one_roll_right_after_the_other() -> None:
    """Eighths of 0.203 s, and of 0.197 s with a chord on every beat."""
    slow = song(
        section("a", "C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2 C5:1/2", "C F C F"),
        tempo=Fraction(148),
    )
    fast = song(*slow.sections, tempo=Fraction(152))
    assert [action for _, action in layers(slow)] == ["roll", "single"] * 4
    assert [action for _, action in layers(fast)] == ["roll", "single", "single", "single"] * 2


@pytest.mark.parametrize("tuning", ["high-g", "low-g"])
@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
@pytest.mark.parametrize("name", [name for name in COMMON_SHAPES if name != "D7"])
def test_a_tune_on_top_of_a_known_shape_is_rolled_in_that_shape(name: str, players: str, tuning: str) -> None:
    digits = COMMON_SHAPES[name]
    top = Pitch.parse("A4").midi + int(digits[3])
    if max(shape_midis(tuple(map(int, digits)), TUNINGS[tuning])) > top:
        return
    made = arranged(f"s1f{digits[3]}:4", name, TUNINGS[tuning], players=players)
    assert shape(made.gestures[0]) == digits
    assert [note.string for note in made.gestures[0].notes] == [4, 3, 2, 1]


@pytest.mark.parametrize(
    ("melody", "chord", "expected"),
    [
        ("C5:4", "C", "4/0 3/0 2/0 1/3"),
        ("A4:4", "F", "4/2 3/0 2/1 1/0"),
        ("B4:4", "G7", "4/0 3/2 2/1 1/2"),
        ("A4:4", "Am", "4/2 3/0 2/0 1/0"),
        ("F4:4", "F", "3/0 2/1"),  # a high string 4 would ring above
        ("E4:4", "C", "3/0 2/0"),
        ("G4:4", "G", "4/0 3/2 2/3"),  # level with string 4
        ("D4:4", "Dm", "3/2"),  # nothing under string 3 but a masking string 4
    ],
)
def test_high_g(melody: str, chord: str, expected: str) -> None:
    assert tune_of(arranged(melody, chord)) == [expected]


@pytest.mark.parametrize(
    ("melody", "chord", "expected"),
    [
        ("F4:4", "F", "4/2 3/0 2/1"),
        ("E4:4", "C", "4/0 3/0 2/0"),
        ("D4:4", "Dm", "4/2 3/2"),
        ("G3:4", "C", "4/0"),
    ],
)
def test_low_g(melody: str, chord: str, expected: str) -> None:
    assert tune_of(arranged(melody, chord, LOW_G)) == [expected]


@pytest.mark.parametrize(
    ("melody", "chord", "expected"),
    [
        ("G4:4", "G", "4/0 3/0 2/0 1/3"),
        ("E4:4", "C", "4/2 3/0 2/1 1/0"),
        ("D3:4", "G", "4/0"),
        ("C4:4", "C", "4/2 3/0 2/1"),
    ],
)
def test_baritone(melody: str, chord: str, expected: str) -> None:
    assert tune_of(arranged(melody, chord, BARITONE)) == [expected]


def test_a_main_note_that_cant_be_rolled_stands_over_the_shape_of_its_chord() -> None:
    made = arranged("D4:4", "Dm")
    assert shape(made.gestures[0]) == "2210"
    assert made.gestures[0].layer == "melody"


def test_like_is_played_like() -> None:
    made = arranged("G4:2 E:2 | G4:2 E:2 | F4:2 A:2 | G4:2 C5:2", "C | C | F | C")
    rolls = [
        struck(gesture)
        for gesture in made.gestures
        if gesture.action == "roll" and gesture.notes[-1].midi == 67
    ]
    assert len(rolls) == 3
    assert len(set(rolls)) == 1


def test_a_syncopated_note_is_rolled_over_the_chord_that_comes() -> None:
    made = arranged(".:3 .:1/2 C5:1/2 | =:4", "G7 | C")
    assert tune_of(made) == ["4/0 3/0 2/0 1/3"]
    assert made.gestures[-1].start_beat >= Fraction(7, 2)


@pytest.mark.parametrize(
    ("melody", "chord", "expected"),
    [
        ("C5:4[321]", "C", "3/0 2/0 1/3"),
        ("C5:4[21]", "C", "2/0 1/3"),
        ("C5:4[432]", "C", "4/0 3/0 2/8"),
        ("C5:4[alone]", "C", "1/3"),
        ("C5:4[1]", "C", "1/3"),
        ("C5:4[2]", "C", "2/8"),
        (". C5[roll] .:2", "C", "4/0 3/0 2/0 1/3"),
        (". s2f8 .:2", "C", "4/0 3/0 2/8"),
        ("s1f3:4", "C", "4/0 3/0 2/0 1/3"),
        ("s4f5:4", "C", "4/5"),
    ],
)
def test_pins_and_positions_are_kept(melody: str, chord: str, expected: str) -> None:
    made = arranged(melody, chord, players="free")
    assert tune_of(made) == [expected]
    assert messages(made) == []


def test_a_pinned_short_note_is_rolled_in_the_melody() -> None:
    made = arranged("C5:2 C5:1/4[roll] C5:7/4", "C")
    assert [gesture.layer for gesture in made.gestures if gesture.notes[-1].part == "tune"] == [
        "melody",
        "melody",
        "between",
    ]


def test_an_alone_pin_on_a_main_note_stays_in_the_melody() -> None:
    made = arranged("C5:4[alone]", "C")
    assert [(gesture.layer, gesture.action) for gesture in of_layer(made, "melody")] == [("melody", "single")]


@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
def test_no_roll_strikes_a_string_a_semitone_under_the_tune(players: Players) -> None:
    made = arranged("C5:3 B4", "G7", players=players)
    first = next(gesture for gesture in made.gestures if gesture.action == "roll")
    assert first.notes[-1].midi == 72
    assert all(note.midi != 71 for note in first.notes)


@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
@pytest.mark.parametrize("melody", ["G#4:4", "C5 G#4 F:2", "C#5 F5 G#4:2", "D5:4"])
def test_a_shape_that_leaves_a_string_out_keeps_the_laws(melody: str, players: Players) -> None:
    assert broken_laws(arranged(melody, "C#maj7/G#[228x]", players=players)) == {}


@pytest.mark.parametrize(
    ("melody", "chord", "expected", "words"),
    [
        ("C4:4[321]", "C", "3/0", r"the pin \[321\] can't be kept: string 1 doesn't have C4"),
        ("C5:4[roll]", "N.C.", "1/3", r"the pin \[roll\] can't be kept: there is no chord to roll over here"),
        ("F4:4[32]", "F#m7b5", "2/1", None),
        ("G3:4[4]", "C", "4/0", None),
        ("C4:4[roll]", "Gsus2", "3/0", r"the roll to C4 is masked"),
    ],
)
def test_pins_that_cant_be_kept_are_refused_with_the_reason(
    melody: str, chord: str, expected: str, words: str | None
) -> None:
    made = arranged(melody, chord, LOW_G if melody.startswith("G3") else None)
    if words is None:
        assert not [message for message in messages(made) if "can't be kept" in message]
    else:
        assert any(re.search(words, message) for message in messages(made)), messages(made)
        assert not made.problems[0].unplayable
    assert made.gestures[0].notes[-1].midi == Pitch.parse(melody[:2]).midi


def test_a_pin_beyond_the_players_is_kept_and_told() -> None:
    made = arranged("D5:4[321]", "Dm", players="beginner")
    assert tune_of(made) == ["3/5 2/5 1/5"]
    assert messages(made) == ["the pin [321] is kept, but asks more of the hands than `players: beginner`"]
    (problem,) = made.problems
    assert (problem.bar_number, problem.section, problem.line, problem.column) == (1, "verse", 2, 1)
    assert "remove the pin" in problem.remedy


def test_a_masked_roll_is_only_played_when_pinned_and_then_told() -> None:
    assert tune_of(arranged("E4:4", "C")) == ["3/0 2/0"]
    made = arranged("E4:4[432]", "C")
    assert tune_of(made) == ["4/0 3/0 2/0"]
    assert messages(made) == ["the roll to E4 is masked: another string of it sounds higher than the tune"]


@pytest.mark.parametrize(
    ("melody", "chord", "expected", "shown"),
    [
        ("A4:4", "Am[2003]", "4/2 3/0 2/0 1/0", "2000"),  # only the tune's string differs
        ("C5:4", "Am[2003]", "4/2 3/0 2/0 1/3", "2003"),
        ("C5:4", "C[5433]", "4/5 3/4 2/3 1/3", "5433"),
        ("C5:4", "C[x003]", "3/0 2/0 1/3", "x003"),
        ("C5:4", "C[xx03]", "2/0 1/3", "xx03"),
        ("C5:4", "C[0x03]", "2/0 1/3", "0x03"),
        ("C5:4", "C[xxx3]", "1/3", "xxx3"),
        ("C5:4", "Dm[0003]", "4/0 3/0 2/0 1/3", "0003"),  # the song's own shape wins over the chord's tones
        ("C5:4", "C[000x]", "4/0 3/0 2/0 1/3", "0003"),
    ],
)
def test_pinned_chord_shapes_are_kept_for_rolls(melody: str, chord: str, expected: str, shown: str) -> None:
    made = arranged(melody, chord)
    assert tune_of(made) == [expected]
    assert shape(made.gestures[0]) == shown


def test_notes_that_no_string_has_are_moved_onto_the_neck_and_told() -> None:
    made = arranged("G3:2 C4:2 | C7:4", "C | C")
    first, last = made.gestures[0], [g for g in made.gestures if g.notes[-1].part == "tune"][-1]
    assert (first.notes[-1].midi, last.notes[-1].midi) == (67, 84)
    assert [gesture.notes[-1].shown for gesture in (first, last)] == ["3*", "15†"]
    low, high = (problem for problem in made.problems if problem.off_neck)
    assert low.message == (
        "G3 (196 Hz) lies below the lowest string (C4): it is played and printed an octave higher, marked *"
    )
    assert high.message == (
        "C7 (2093 Hz) lies above the last fret (C6): it is played and printed an octave lower, marked †"
    )
    assert (
        low.remedy == high.remedy == "keep it as written (`--as-written`)"
    )  # no key has both on its strings
    assert not low.unplayable
    assert (low.bar_number, high.bar_number, high.line, high.column) == (1, 2, 2, 1)


def test_notes_that_no_string_has_sound_as_written_where_that_is_asked_for() -> None:
    made = arranged("G3:2 C4:2 | C7:4", "C | C", as_written=True)
    first, last = made.gestures[0], [g for g in made.gestures if g.notes[-1].part == "tune"][-1]
    assert [(note.midi, note.fret, note.shown) for note in (*first.notes, *last.notes)] == [
        (55, None, "*"),
        (96, None, "†"),
    ]
    low, _ = made.problems
    assert low.message.endswith(": it sounds as written, and its place in the tab is empty")
    assert low.unplayable


def test_a_roll_lies_under_a_moved_note_as_under_any_other() -> None:
    moved, written = arranged("A3:4", "F"), arranged("A4:4", "F")
    assert moved.gestures[0].action == "roll"
    assert tune_of(moved) == tune_of(written)


def test_a_pin_holds_for_a_moved_note_where_its_string_has_it() -> None:
    made = arranged("B3:2[1] B3:2[4]", "G")
    assert tune_of(made) == ["1/2", "4/4"]
    assert [problem.off_neck for problem in made.problems] == [True]
    (kept,) = messages(arranged("B3:2[1] C5:2", "G", as_written=True))
    assert kept.startswith("B3 (247 Hz) lies below")


@pytest.mark.parametrize(
    ("melody", "moved_by", "remedy"),
    [
        ("A3:2 C5:2", 0, "move the song (`--transpose 3`) or use `tuning: low-g` or "),
        ("A3:2 C5:2", -7, "move the song (`--transpose -4`) or use `tuning: low-g` or "),
        ("Bb3:2 C5:2", -2, "play it in the key as written (`--transpose 0`) or use `tuning: low-g` or "),
        ("E4:2 D6:2", 0, "move the song (`--transpose -2`) or "),
        ("E4:2 D6:2", 3, "move the song (`--transpose 1`) or "),
        ("E3:2 D6:2", 0, ""),
    ],
)
def test_the_remedy_is_what_must_be_typed_for_the_file(melody: str, moved_by: int, remedy: str) -> None:
    song_now = song(section("verse", melody, "N.C."))
    if moved_by:
        down, _ = transpose_song(song_now, -moved_by)
        song_now, _ = transpose_song(replace(down, moved_semitones=0), moved_by)
    (told, *_) = [problem for problem in arrange(song_now).problems if problem.off_neck]
    assert told.remedy == remedy + "keep it as written (`--as-written`)"


def test_a_note_that_comes_often_is_told_once() -> None:
    made = arranged("A3:2 C5 A3 | A3:4", "F | F")
    assert [problem.message.partition(":")[0] for problem in made.problems] == [
        "A3 (220 Hz), 3 times, lies below the lowest string (C4)"
    ]


def test_a_note_between_strings_that_lie_far_apart() -> None:
    tuning = song_tuning(
        song(section("a", "C4", "C"), tuning=tuple(map(Pitch.parse, ("E1", "E1", "E1", "A5"))))
    )
    made = arranged("B4:4", "N.C.", tuning)
    assert messages(made) == [
        "B4 (494 Hz) is on no string of this tuning up to fret 15: it is played and printed an octave higher, marked *"
    ]
    assert made.gestures[0].notes[0].midi == 83


def test_a_note_above_the_players_frets_is_played_and_told_once() -> None:
    made = arranged("E5:4 | E5:4 | E5:4[1]", "N.C. | N.C. | N.C.", players="beginner")
    assert tune_of(made) == ["1/7"] * 3
    assert messages(made) == [
        "fret 7 on string 1 is higher than `players: beginner` are asked to reach (fret 5)"
    ]
    assert made.problems[0].remedy == "move the song down, or change `players`"


def passes_of(made: Song) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for gesture in arrange(made).gestures:
        if gesture.notes[-1].part == "tune":
            found.setdefault(gesture.pass_number, []).append(struck(gesture))
    return found


def test_passes_keep_their_fingering_but_in_replaced_bars() -> None:
    verse = section("verse", "C5 A4 G E | F4 A G E | C5:4", "C | F | C", melody_2="| A4:4 |")
    found = passes_of(song(verse, form="verse verse verse"))
    assert found[1] == found[3]
    assert found[2][:4] == found[1][:4]
    assert found[2][4:] == ["4/2 3/0 2/1 1/0", found[1][-1]]


def test_a_row_for_the_first_pass_does_not_bind_the_others() -> None:
    verse = section("verse", "C5 A4 G E | F4 A G E", "C | F", melody_1="C5:4 |")
    found = passes_of(song(verse, form="verse verse verse"))
    assert found[1][0] == "4/0 3/0 2/0 1/3"
    assert found[2] == found[3]
    assert found[2][-4:] == found[1][-4:]


def test_a_section_is_worked_out_after_the_one_before_and_no_later_one() -> None:
    verse = section("verse", "C5 A4 G E", "C")
    chorus, other = section("chorus", "D5:4 | D5:4", "G | G"), section("chorus", "F4:4 | C4:4", "F | F")
    one, two = arrange(song(verse, chorus)), arrange(song(verse, other))
    assert [g for g in one.gestures if g.section == "verse"] == [
        g for g in two.gestures if g.section == "verse"
    ]


def test_a_pick_up_over_another_chord_than_before() -> None:
    verse = section("verse", "A4[roll] || C5:4 | A4:3 .", "|| C | F")
    found = passes_of(song(verse, form="verse verse"))
    assert found[1][0] == "1/0"  # nothing to roll over at the very start
    assert found[2][0] == found[1][0]  # a single note is kept
    made = arrange(song(verse, form="verse verse"))
    assert messages(made) == ["the pin [roll] can't be kept: there is no chord to roll over here"]
    chorus = section("chorus", "C5:4", "C")
    after = arrange(song(chorus, verse, form="chorus verse verse"))
    picked = [struck(gesture) for gesture in after.gestures if gesture.section_bar == 0]
    assert picked == ["4/0 3/0 2/0 1/0", "4/2 3/0 2/1 1/0"]


def test_a_note_cut_short_by_a_pick_up_is_rolled_as_on_every_pass() -> None:
    """On the last pass, held in full, it would lean towards the chord that comes."""
    verse = section("verse", ". || .:2 | .:1/2 s1f0 .:1/2", "N.C. || N.C. | C:1 F:1", meter="2/4")
    made = song(verse, form="verse verse", meter="2/4", tempo=Fraction(40), players="beginner")
    rolls = [struck(gesture) for gesture in of_layer(arrange(made), "melody")]
    assert rolls == ["4/0 3/0 2/0 1/0"] * 2


def test_gestures_say_where_they_stand() -> None:
    verse = section(
        "verse", "G4 || C5:2 . C5[alone] | C5:3 .", "|| C | C", marks="accent@1 melody:accent@4 |"
    )
    made = arrange(song(verse, form="verse verse"))
    tune = [gesture for gesture in made.gestures if gesture.notes[-1].part == "tune"]
    places = [(g.bar_number, g.section_bar, g.pass_number, g.bar_beat) for g in tune]
    first = ["0 0 1 -1", "1 1 1 0", "1 1 1 3", "2 2 1 0"]
    assert beats_of(*places) == [*first, "2 0 2 -1", "3 1 2 0", "3 1 2 3", "4 2 2 0"]
    assert [gesture.accent for gesture in tune] == [False, True, False, False] * 2
    assert [gesture.phrase for gesture in tune] == [0, 0, 0, 0, 1, 1, 1, 1]


def test_the_thumb_rests_on_the_next_string() -> None:
    made = arranged("C5:4 | E4:4 | E4:2[alone] .:2", "C | C | C")
    tune = [gesture for gesture in made.gestures if gesture.notes[-1].part == "tune"]
    assert [gesture.rests_on for gesture in tune] == [None, 1, None]


def test_a_song_without_bars_is_refused() -> None:
    with pytest.raises(RequestError, match="made up has no bars to play"):
        arrange(Song("made up", (Section("a", ()),), song(section("a", "C4", "C")).form))


def test_the_song_says_the_tuning() -> None:
    made = song(section("a", "C4:4", "C"), tuning="low-g")
    assert arrange(made).tuning == LOW_G
    assert arrange(made, BARITONE).tuning == BARITONE
    own = song(section("a", "C4:4", "C"), tuning=tuple(map(Pitch.parse, ("A4", "D4", "F#4", "B4"))))
    assert arrange(own).tuning.name == "custom"
    assert parse_chord("D").root_class == 2
