"""Tuning up: each open string three times, in time, at the level of the tune."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby
from typing import Any

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, arrange, tune_up
from tercet.performing import lay_out, perform
from tercet.song import Dynamics, Song
from tercet.theory import MARK_LEVEL_DB, TUNINGS, Pitch, Tuning, tuning_of_pitches
from tests.arranging import strategies as made
from tests.arranging.written import section, song

D_TUNING = tuning_of_pitches(tuple(Pitch.parse(text) for text in ("A4", "D4", "F#4", "B4")))


def tuned(tuning: Tuning, **more: Any) -> Arrangement:
    verse = section("verse", "C5:2[4321] E4", "C", meter="3/4")
    return tune_up(arrange(song(verse, meter="3/4", **more), tuning))


def faults(played: Arrangement) -> list[str]:
    """Return what is wrong with a tuning-up, worked out from the open strings alone."""
    found = []
    asked = [string for string in (4, 3, 2, 1) for _ in range(3)]
    struck = [note for gesture in played.gestures for note in gesture.notes]
    if [note.string for note in struck] != asked:
        found.append("not each string three times, from 4 to 1")
    found += [
        f"string {note.string} isn't open"
        for note in struck
        if note.fret or note.midi != played.tuning.open_pitches[4 - note.string].midi
    ]
    starts = [gesture.start_beat for gesture in played.gestures]
    if starts != [place * Fraction(2) for place in range(12)]:
        found.append("not every second beat")
    if any(gesture.length_beat != 2 for gesture in played.gestures):
        found.append("a string is damped too soon")
    return found


@pytest.mark.parametrize(
    ("tuning", "names"),
    [
        (TUNINGS["high-g"], ["string 4 G", "string 3 C", "string 2 E", "string 1 A"]),
        (TUNINGS["low-g"], ["string 4 G", "string 3 C", "string 2 E", "string 1 A"]),
        (TUNINGS["baritone"], ["string 4 D", "string 3 G", "string 2 B", "string 1 E"]),
        (D_TUNING, ["string 4 A", "string 3 D", "string 2 F#", "string 1 B"]),
    ],
)
def test_a_bar_a_string_named_by_its_note(tuning: Tuning, names: list[str]) -> None:
    played = tuned(tuning)
    assert faults(played) == []
    assert [bar.section for bar in played.bars] == names
    assert [name for name, _ in groupby(played.gestures, lambda gesture: gesture.section)] == names
    assert played.problems == ()


def test_a_stroke_every_two_seconds() -> None:
    played = tuned(TUNINGS["high-g"], tempo=Fraction(180), swing=Fraction(2, 3), feel="loose")
    take = perform(played, lay_out(played, count_in_bars=1), dry=True)
    assert [note.onset_s for note in take.notes] == pytest.approx([6.0 + 2.0 * place for place in range(12)])
    assert [note.length_s for note in take.notes] == pytest.approx([*([2.0, 2.0, 1.75] * 4)[:-1], 2.0])
    assert [click.onset_s for click in take.clicks] == pytest.approx(range(6))
    assert take.length_s == pytest.approx(30.0)


def test_steadily_whatever_the_feel_and_with_its_own_count_in() -> None:
    played, steady = (tuned(TUNINGS["high-g"], feel=feel, count_in_bars=4) for feel in ("loose", "steady"))
    takes = [perform(each, lay_out(each)) for each in (played, steady)]
    assert takes[0] == takes[1]
    assert played.song.count_in_bars is None


def test_nothing_is_put_between() -> None:
    assert faults(tuned(TUNINGS["high-g"], between="fill", strum=tuple("dud"))) == []


def test_as_loud_as_the_tune_without_the_songs_marks() -> None:
    for melody in ("pp", "f"):
        dynamics = Dynamics(melody, "ppp", "ppp")
        played = tuned(TUNINGS["low-g"], dynamics=dynamics, front=Fraction(12))
        take = perform(played, lay_out(played), dry=True)
        assert {note.level_db for note in take.notes} == {MARK_LEVEL_DB[melody]}
        assert {note.layer for note in take.notes} == {"melody"}


@settings(max_examples=20)
@given(made.songs(), made.tunings)
def test_whatever_the_song_is(written: Song, tuning: Tuning) -> None:
    played = tune_up(arrange(written, tuning))
    assert faults(played) == []
    assert (played.song.title, played.song.players) == (written.title, written.players)
    assert played.tuning == tuning


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        (lambda played: replace(played, gestures=played.gestures[1:]), "three times"),
        (lambda played: replace(played, gestures=played.gestures[::-1]), "from 4 to 1"),
        (lambda played: replace(played, tuning=TUNINGS["low-g"]), "string 4 isn't open"),
        (
            lambda played: replace(
                played, gestures=(replace(played.gestures[0], length_beat=Fraction(1)), *played.gestures[1:])
            ),
            "too soon",
        ),
    ],
)
def test_the_look_at_it_notices(broken: object, words: str) -> None:
    assert callable(broken)
    assert any(words in fault for fault in faults(broken(tuned(TUNINGS["high-g"]))))
