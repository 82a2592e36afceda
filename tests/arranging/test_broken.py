"""Chords string by string behind the tune, where the style is `broken`; and the tune without rolls."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.arranging.broken import PATTERNS, pattern_of
from tercet.performing import covered_notes, lay_out, perform
from tercet.song import SectionStyle, parse_song, read_song
from tercet.theory import TUNINGS
from tests.arranging.laws import broken_laws
from tests.arranging.written import arranged, section, song, struck, strums_of, tune_of

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))


def broken(melody: str, chords: str, **more: Any) -> Arrangement:
    """Arrange a section of one line with its chords broken."""
    return arranged(melody, chords, style="broken", tempo=Fraction(more.pop("tempo", 72)), **more)


def behind(arrangement: Arrangement) -> list[str]:
    """Return beat, string and fret of each string that is struck behind the tune: ``"1/2 3/0"``."""
    return [
        f"{gesture.start_beat} {struck(gesture)}"
        for gesture in arrangement.gestures
        if gesture.layer == "between" and gesture.notes[-1].part == "chord"
    ]


@pytest.mark.parametrize("key", PATTERNS)
def test_a_pattern_has_a_sign_for_each_part_of_its_pulses(key: tuple[int, int, Any]) -> None:
    pulses, parts, pace = key
    assert len(pattern_of(pulses, parts, pace)) == pulses * parts
    assert set(pattern_of(pulses, parts, pace)) <= set("4321.")


def test_a_longer_bar_has_the_pattern_of_four_pulses_again() -> None:
    assert pattern_of(5, 2, "lively")[:8] == pattern_of(4, 2, "lively")
    assert len(pattern_of(5, 2, "lively")) == 10


@pytest.mark.parametrize(
    ("melody", "chord", "more", "expected"),
    [
        # A4 lies on string 1: behind it the strings of F 2010 that sound lower, in the pattern's order
        ("A4:4", "F", {}, ["1/2 3/0", "1 2/1", "3/2 3/0", "2 2/1", "5/2 3/0", "3 2/1", "7/2 3/0"]),
        ("A4:4", "F", {"players": "beginner"}, ["1 3/0", "2 2/1", "3 3/0"]),
        ("A4:4", "F", {"tempo": 180}, ["1 3/0", "2 2/1", "3 3/0"]),
        ("A4:2 C5:2", "F", {"players": "beginner"}, ["1 3/0", "3 4/2"]),
        ("C5:6", "C", {"meter": "6/8"}, ["1 3/0", "2 2/0", "3 4/0", "4 2/0", "5 3/0"]),
        ("C4:4", "C", {}, []),  # nothing lies lower
        ("A4:4", "N.C.", {}, []),
        ("A4:4", "F", {"between": ".:4"}, []),
        ("A4:4", "F", {"strum_row": "d d d d"}, []),
    ],
)
def test_strings_below_the_tune_in_the_order_of_the_pattern(
    melody: str, chord: str, more: dict[str, Any], expected: list[str]
) -> None:
    arrangement = broken(melody, chord, **more)
    assert behind(arrangement) == expected
    assert broken_laws(arrangement) == {}


def test_where_the_tune_rests_all_strings_of_the_chord_are_free() -> None:
    assert behind(broken(".:4", "C"))[:4] == ["0 4/0", "1/2 3/0", "1 2/0", "3/2 3/0"]


def test_a_fermata_is_left_to_ring() -> None:
    rows = "    chords F | F\n    melody A4:4 | A4:4\n    marks | fermata@3\n"
    arrangement = arrange(parse_song(f"title: Held\nstyle: broken\ntempo: 72\nsections:\n  verse: |\n{rows}"))
    assert [each.split()[0] for each in behind(arrangement)][-3:] == ["9/2", "5", "11/2"]


def test_strums_give_way_to_them_but_stay_where_nothing_lies_below() -> None:
    assert strums_of(broken("A4:4", "F")) == []
    assert strums_of(broken("C4:4", "C")) == strums_of(arranged("C4:4", "C", tempo=Fraction(72)))
    assert strums_of(broken("A4:4", "F", strum_row="d d d d")) != []


def test_a_string_ends_when_the_tune_comes_near() -> None:
    arrangement = broken("A4:2 D4:2", "F")
    ends = {
        gesture.start_beat + gesture.length_beat
        for gesture in arrangement.gestures
        if gesture.notes[-1].part == "chord" and gesture.start_beat < 2
    }
    assert max(ends) == 2


@pytest.mark.parametrize("style", ["broken", "plain"])
def test_without_rolls_a_pinned_roll_keeps_the_string_of_its_tune(style: Any) -> None:
    arrangement = arranged("C5:2[4321] A4[roll] E4[alone]", "C", style=style)
    assert tune_of(arrangement)[0] == "1/3"
    assert {gesture.action for gesture in arrangement.gestures if gesture.notes[-1].part == "tune"} == {
        "single"
    }
    assert not any("pin" in problem.message for problem in arrangement.problems)


def test_plain_adds_nothing_and_strums_down_on_the_pulse() -> None:
    strums = [each.split()[:2] for each in strums_of(arranged("A4:4 | C5:4", "F | C", style="plain"))]
    assert strums == [[str(beat), "d"] for beat in (1, 2, 3, 5, 6, 7)]
    own = [each.split()[1] for each in strums_of(arranged("A4:4", "F", style="plain", strum=tuple("dudu")))]
    assert own == ["u", "d", "u"]  # a song's own pattern is kept
    filled = arrange(song(section("verse", "C5:4 | G4:4", "C | C"), between="fill", style="plain"))
    assert {note.part for gesture in filled.gestures for note in gesture.notes} == {"tune", "chord"}
    assert {gesture.layer for gesture in filled.gestures if gesture.action == "single"} == {"melody"}


def test_each_pass_has_its_style() -> None:
    verse = section("verse", "A4:4 | C5:4", "F | C")
    styles = (SectionStyle("verse", None, "plain"), SectionStyle("verse", 2, "rolls"))
    arrangement = arrange(song(verse, form="verse verse verse", section_styles=styles))
    actions = [gesture.action for gesture in arrangement.gestures if gesture.layer == "melody"]
    assert actions == ["single", "single", "roll", "roll", "single", "single"]


@pytest.mark.parametrize("tuning", ["high-g", "low-g", "baritone"])
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_keep_the_laws_and_the_tune_stands_clear(path: Path, tuning: str) -> None:
    text = path.read_text(encoding="utf-8").replace("\ntempo", "\nstyle: broken\ntempo", 1)
    arrangement = arrange(parse_song(text), TUNINGS[tuning])
    assert broken_laws(arrangement) == {}
    assert behind(arrangement)
    assert covered_notes(perform(arrangement, lay_out(arrangement))) == ()


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_the_usual_style_by_its_name_changes_nothing(path: Path) -> None:
    plainly = read_song(path)
    named = parse_song(path.read_text(encoding="utf-8").replace("\ntempo", "\nstyle: rolls\ntempo", 1))
    assert arrange(plainly).gestures == arrange(named).gestures
