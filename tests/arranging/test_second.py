"""A second voice under the tune: its notes, the laws that it keeps, and what is told where strings lack them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.song import Players, SecondVoice, Song, read_song
from tercet.theory import TUNINGS, Tuning, parse_key, spell
from tests.arranging import strategies as made
from tests.arranging.laws import broken_laws
from tests.arranging.second_laws import faults_of, second_figures
from tests.arranging.written import messages, section, song

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))
VOICES: tuple[SecondVoice, ...] = get_args(SecondVoice)
LOW_G = TUNINGS["low-g"]


def under(
    melody: str, chords: str, second: SecondVoice = "thirds", tuning: Tuning = LOW_G, **more: Any
) -> str:
    """Return the second voice under a line, note by note: ``"G#3:2"``, a dot and a length where it rests."""
    meter = str(more.pop("meter", "4/4"))
    made_of = song(section("verse", melody, chords, meter=meter), meter=meter, **more)
    arrangement = arrange(replace(made_of, second=second), tuning)
    words = []
    at_beat = Fraction(0)
    for gesture in arrangement.second:
        if gesture.start_beat > at_beat:
            words.append(f".:{gesture.start_beat - at_beat}")
        words.append(f"{spell(gesture.notes[0].midi, arrangement.song.key)}:{gesture.length_beat}")
        at_beat = gesture.start_beat + gesture.length_beat
    return " ".join(words)


@pytest.mark.parametrize(
    ("melody", "chords", "key", "expected"),
    [
        (
            "E4 F4 G4 A4",
            "C",
            "C major",
            "C4:1 C4:1 E4:1 E4:1",
        ),  # off the chord it gives way, never by a second
        (
            "E4:1/2 F4:1/2 G4:1/2 A4:1/2 B4:2",
            "C",
            "C major",
            "C4:1/2 D4:1/2 E4:1/2 F4:1/2 G4:2",
        ),  # passing notes pass
        ("B4:4 | A4:4", "E7 | Am", "A minor", "G#4:4 E4:4"),  # the leading tone where the chord has it
        ("B4:4 | B4:4", "Em | G", "A minor", "G4:4 G4:4"),  # and not where it hasn't
        ("A4:2 F#4:2", "D7", "C major", "F#4:2 D4:2"),  # a letter as the chord has it
        ("E4:2 . G4", "C", "C major", "C4:2 .:1 E4:1"),  # it rests with the tune
        ("E4:2 G4:2 | =:2 E4:2", "C | G:2 C:2", "C major", "C4:2 E4:4 C4:2"),  # and is held with it
        ("C5:4", "C:2 F:2", "C major", "G4:4"),
        ("E4 F4 G4:2", "N.C.", "C major", "C4:1 D4:1 E4:2"),
        ("s1f0:4", "F", "C major", "F4:4"),  # a tune that is written by string and fret
    ],
)
def test_thirds(melody: str, chords: str, key: str, expected: str) -> None:
    assert under(melody, chords, key=parse_key(key)) == expected


@pytest.mark.parametrize(
    ("melody", "chords", "expected"),
    [
        ("E5:2 G5:2", "C", "G4:2 C5:2"),
        ("C5:1/2 D5:1/2 E5 F5:2", "C:2 Dm:2", "E4:1/2 F4:1/2 G4:1 A4:2"),
    ],
)
def test_sixths(melody: str, chords: str, expected: str) -> None:
    assert under(melody, chords, "sixths") == expected


@pytest.mark.parametrize(
    ("melody", "chords", "meter", "expected"),
    [
        ("E5:4 | D5:4", "C | G7", "4/4", "C4:2 G3:2 G3:2 D4:2"),  # two a bar: the root, then the fifth
        ("E5:3 | D5:3", "C | G7", "3/4", "C4:3 G3:3"),  # one a bar
        ("E5:3 D5:3", "C:3 G7:3", "6/8", "C4:3 G3:3"),  # and another where the chord comes
        ("E5 D5 C5 B4", "C G7/B Am G", "4/4", "C4:2 A3:2"),  # never more than two
        ("E5:2 .:2 | D5:4", "C | C/E", "4/4", "C4:2 .:2 E4:2 G3:2"),  # the bass that the name asks for
        ("E5:2 . D5", "C", "4/4", "C4:2 .:1 G3:1"),  # it rests with the tune
        ("E5:4", "N.C.", "4/4", ""),
    ],
)
def test_low(melody: str, chords: str, meter: str, expected: str) -> None:
    assert under(melody, chords, "low", meter=meter) == expected


def test_the_low_line_keeps_to_the_two_lowest_strings() -> None:
    verse = section("verse", "E5:4 | D5:4 | C5:4 | B4:4", "C | G7 | Am | E7")
    for name, lowest in (("high-g", {2, 3}), ("low-g", {3, 4}), ("baritone", {3, 4})):
        arrangement = arrange(replace(song(verse), second="low"), TUNINGS[name])
        assert {gesture.notes[0].string for gesture in arrangement.second} <= lowest


@pytest.mark.parametrize("voice", VOICES)
def test_it_breathes_with_the_tune_and_leaves_the_pick_up_of_the_next_section(voice: SecondVoice) -> None:
    first = section("verse", "E5:4 | C5:2 E5:2", "C | F", marks="| ,@3")
    second = section("chorus", "G4 || C5:4", "|| C")
    arrangement = arrange(replace(song(first, second), second=voice), LOW_G)
    assert faults_of(arrangement) == {}
    if voice == "low":
        assert [gesture.bar_beat for gesture in arrangement.second] == [0, 2, 0, 2, 0, 2]


# ---- laws


@settings(max_examples=30)
@given(made.songs(), made.tunings, st.sampled_from(VOICES))
def test_random_songs_keep_the_laws(written: Song, tuning: Tuning, voice: SecondVoice) -> None:
    arrangement = arrange(replace(written, second=voice), tuning)
    assert faults_of(arrangement) == {}
    assert broken_laws(arrangement) == {}


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_keep_the_laws(path: Path, voice: SecondVoice) -> None:
    written = read_song(path)
    for players, tuning in zip(get_args(Players), TUNINGS.values(), strict=True):
        arrangement = arrange(replace(written, players=players, second=voice), tuning)
        found = second_figures(arrangement)
        assert faults_of(arrangement) == {}
        assert found.notes == found.in_key == found.under == found.playable > 0
        assert found.strong_of_chord == found.strong or voice != "low"


def _replaced(change: Callable[[Gesture], Gesture]) -> Callable[[Arrangement], Arrangement]:
    def changed(arrangement: Arrangement) -> Arrangement:
        first, *others = arrangement.second
        return replace(arrangement, second=(change(first), *others))

    return changed


def _moved(gesture: Gesture, semitones: int) -> Gesture:
    note = gesture.notes[0]
    fret = (note.fret or 0) + semitones
    shape = tuple(fret if 4 - place == note.string else each for place, each in enumerate(gesture.shape))
    return replace(gesture, notes=(replace(note, midi=note.midi + semitones, fret=fret),), shape=shape)


SABOTAGE: dict[str, Callable[[Arrangement], Arrangement]] = {
    "in key or chord": _replaced(lambda gesture: _moved(gesture, 1)),
    "a minor third or more under the tune": _replaced(lambda gesture: _moved(gesture, 2)),
    "nothing where the tune rests": _replaced(lambda gesture: replace(gesture, start_beat=Fraction(999))),
    "playable": _replaced(lambda gesture: _moved(gesture, 12)),
    "one note at a time": _replaced(lambda gesture: replace(gesture, notes=gesture.notes * 2)),
    "as long as the tune's note": _replaced(
        lambda gesture: replace(gesture, length_beat=gesture.length_beat / 2)
    ),
    "one after the other": _replaced(lambda gesture: replace(gesture, length_beat=gesture.length_beat + 1)),
}


@pytest.mark.parametrize("law", SABOTAGE)
def test_each_law_notices_what_breaks_it(law: str) -> None:
    verse = section("verse", "E4:2 G4:2 | A4:2 E4:2", "C | F:2 C:2")
    arrangement = arrange(replace(song(verse), second="thirds"), LOW_G)
    assert faults_of(arrangement) == {}
    assert law in faults_of(SABOTAGE[law](arrangement))


# ---- what it changes, and what is told


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_nothing_else_changes_where_there_is_a_second_voice(path: Path, voice: SecondVoice) -> None:
    written = read_song(path)
    plain, with_second = arrange(written), arrange(replace(written, second=voice))
    assert plain.second == ()
    assert with_second.gestures == plain.gestures
    assert {gesture.layer for gesture in with_second.second} == {"second"}
    assert {note.part for gesture in with_second.second for note in gesture.notes} == {"second"}


def test_each_pass_is_alike() -> None:
    verse = section("verse", "E4:2 G4:2 | A4:2 E4:2", "C | F:2 C:2")
    arrangement = arrange(replace(song(verse, form="verse verse"), second="thirds"))
    first = [gesture for gesture in arrangement.second if gesture.pass_number == 1]
    other = [gesture for gesture in arrangement.second if gesture.pass_number == 2]
    assert [(each.notes, each.shape) for each in first] == [(each.notes, each.shape) for each in other]


def test_rests_and_other_intervals_are_told() -> None:
    verse = section("verse", "D4:2 C5:2 | E4:2 D4:2", "C | C")
    arrangement = arrange(replace(song(verse), second="sixths"))
    rests, other = (message for message in messages(arrangement) if "second voice" in message)
    assert rests == (
        "the second voice (`second: sixths`) rests under 2 of 4 of the tune's notes, first under D4 in bar 1: "
        "these strings don't reach low enough"
    )
    assert other == (
        "the second voice (`second: sixths`) takes another interval under 1 of 4 of the tune's notes, first under E4 "
        "in bar 2: these strings don't reach low enough"
    )
    assert not any(problem.unplayable for problem in arrangement.problems)


def test_where_strings_reach_nothing_is_told() -> None:
    verse = section("verse", "C5:2 E5:2", "C")
    assert messages(arrange(replace(song(verse), second="thirds"))) == []
