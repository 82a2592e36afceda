"""Fingers that the song sets on a shape: every hand that holds the shape sets them so, whatever is taught."""

from __future__ import annotations

import pytest

from tercet.arranging import arrange, chords_alone
from tercet.arranging.pinning import pin_song
from tercet.publish.pictures.shapes_used import shapes_used
from tercet.song import parse_song, transpose_song
from tercet.song.transpose import drop_pins
from tercet.song.writer import tidy_text, write_song
from tercet.theory import TUNINGS

SONG = """\
title: Odd fingers
meter: 3/4
players: free
strum: d d d
sections:
  verse: |
    chords    Am[2000/{am}]     |        | Dm[2210/{dm}] | D7[x223/x112] | C[0003]
    melody    A4:3              | C5 B4 A | A4:3          | A4:3          | C5:3
"""


def fingered(am: str = "1000", dm: str = "3420") -> str:
    return SONG.format(am=am, dm=dm)


@pytest.mark.parametrize(("am", "dm"), [("1000", "3420"), ("4000", "2410"), ("2000", "2310")])
def test_the_tune_is_played_with_them(am: str, dm: str) -> None:
    arrangement = arrange(parse_song(fingered(am, dm)))
    wanted = {(2, 0, 0, 0): am, (2, 2, 1, 0): dm, (None, 2, 2, 3): "0112"}
    met = set()
    for gesture in arrangement.gestures:
        if gesture.fingers and gesture.shape in wanted:
            assert "".join(map(str, gesture.fingers)) == wanted[gesture.shape]
            met.add(gesture.shape)
    assert {(2, 0, 0, 0), (2, 2, 1, 0)} <= met
    assert not arrangement.problems


def test_fingers_beside_a_note_on_another_fret_stay() -> None:
    text = fingered("1000").replace("C5 B4 A", "C5:3[1]")
    gesture = next(gesture for gesture in arrange(parse_song(text)).gestures if gesture.bar_number == 2)
    assert gesture.shape == (2, 0, 0, 3)
    assert gesture.fingers[0] == 1
    assert gesture.fingers[3] > 1


def test_a_note_that_these_fingers_cannot_reach_is_played_over_the_shape_all_the_same() -> None:
    text = fingered("4000").replace("C5 B4 A", "C5:3[1]")
    gesture = next(gesture for gesture in arrange(parse_song(text)).gestures if gesture.bar_number == 2)
    assert gesture.shape == (2, 0, 0, 3)
    assert gesture.fingers[0] != 4


@pytest.mark.parametrize("which", ["whole", "chords"])
def test_diagrams_show_them(which: str) -> None:
    song = parse_song(fingered("3000").replace("A4:3              |", ".:3               |"))
    arrangement = arrange(song)
    if which == "chords":
        arrangement = chords_alone(arrangement)
    fingers = {(use.chord, use.frets): "".join(map(str, use.fingers)) for use in shapes_used(arrangement)}
    assert fingers["Am", (2, 0, 0, 0)] == "3000"
    assert fingers["Dm", (2, 2, 1, 0)] == "3420"


def test_a_chord_held_in_two_ways_changes_its_fingers() -> None:
    text = fingered("1000").replace("|        |", "| Am[2000/3000] |")
    found = {
        gesture.fingers for gesture in arrange(parse_song(text)).gestures if gesture.shape == (2, 0, 0, 0)
    }
    assert {(1, 0, 0, 0), (3, 0, 0, 0)} == found - {()}


def test_they_stay_through_tidying_and_writing_and_go_with_their_shape() -> None:
    song = parse_song(fingered())
    assert parse_song(tidy_text(fingered())) == song == parse_song(write_song(song))
    for moved, dropped in (transpose_song(song, 2), drop_pins(song)):
        assert dropped[:2] == (
            "verse, bar 1: the shape Am[2000/1000]",
            "verse, bar 3: the shape Dm[2210/3420]",
        )
        assert arrange(moved, TUNINGS["low-g"]).gestures
    assert "the shape D7[x223/x112]" in drop_pins(song)[1][2]
    assert "[" not in write_song(drop_pins(song)[0]).partition("sections:")[2]
    moved, dropped = transpose_song(song, 2)
    assert "E7[x445/x112]" in write_song(moved)
    assert not any("D7" in told for told in dropped)


def test_pinning_writes_them_and_keeps_the_hands() -> None:
    text = (
        SONG.replace("[2000/{am}]", "")
        .replace("[2210/{dm}]", "")
        .replace("[x223/x112]", "")
        .replace("[0003]", "")
    )
    before = arrange(parse_song(text))
    pinned = pin_song(text)
    assert pinned.changed == ()
    assert pinned.shapes
    assert "/" in pinned.text.partition("chords")[2].partition("melody")[0]
    after = arrange(parse_song(pinned.text))
    assert [each.fingers for each in after.gestures] == [each.fingers for each in before.gestures]
    for line in pinned.text.splitlines():
        if "chords" in line:
            assert line.count("[") == line.count("/"), line
