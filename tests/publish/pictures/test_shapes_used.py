"""Which shapes an arrangement uses, in which order, with which fingers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, arrange
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_by_line, shapes_used
from tercet.song import drop_pins, read_song
from tercet.theory import TUNINGS
from tests.performing.pieces import Visit, added, chop, piece, pieces, strum, tune
from tests.publish.drawn import four_bars

SONGS = sorted(Path("songs").glob("*.yaml"))


def under_chords(made: Arrangement, *names: str) -> Arrangement:
    """Return an arrangement with a chord in each bar, one after the other."""
    from fractions import Fraction

    from tercet.song import ChordSpan
    from tercet.theory import parse_chord

    bars = tuple(
        replace(bar, chords=(ChordSpan(Fraction(0), bar.length_beat, parse_chord(name)),))
        for bar, name in zip(made.bars, names, strict=True)
    )
    return replace(made, bars=bars)


def test_shapes_are_listed_once_in_the_order_of_first_use() -> None:
    made = piece(
        tune(0, 2, "4321", "2000"),
        strum(2, 1, shape="0003"),
        tune(4, 2, "432", "2000"),
        strum(6, 1, shape="0212"),
        visits=(Visit("verse", 1, 2),),
    )
    assert [use.frets for use in shapes_used(made)] == [(2, 0, 0, 0), (0, 0, 0, 3), (0, 2, 1, 2)]


def test_a_shape_is_listed_under_each_chord_name() -> None:
    made = piece(strum(0, 4, shape="0003"), strum(4, 4, shape="0003"), visits=(Visit("verse", 1, 2),))
    uses = shapes_used(under_chords(made, "C", "Em7"))
    assert [(use.chord, use.frets) for use in uses] == [("C", (0, 0, 0, 3)), ("Em7", (0, 0, 0, 3))]


def test_the_strings_that_hold_the_tune_are_gathered() -> None:
    made = piece(tune(0, 1, "4321"), tune(1, 1, "432"), strum(2, 1))
    (use,) = shapes_used(made)
    assert use.tune_strings == (2, 1)


def test_single_notes_are_left_to_the_tab_and_chops_are_not() -> None:
    made = piece(tune(0, 1, "1", "0005"), added(1, 1, shape="0303"), chop(2, 1, shape="2010"))
    assert [use.frets for use in shapes_used(made)] == [(2, 0, 1, 0)]


def test_a_strum_takes_the_fingers_with_which_the_tune_holds_its_shape() -> None:
    made = piece(strum(0, 1, shape="0232"), tune(1, 1, "321", "0232"))
    held = [
        replace(gesture, fingers=(0, 1, 3, 2)) if gesture.layer == "melody" else gesture
        for gesture in made.gestures
    ]
    (use,) = shapes_used(replace(made, gestures=tuple(held)))
    assert use.fingers == (0, 1, 3, 2)


@pytest.mark.parametrize(
    ("shape", "fingers"),
    [
        ("0003", (0, 0, 0, 3)),
        ("0212", (0, 2, 1, 3)),
        ("2000", (2, 0, 0, 0)),
        ("0000", (0, 0, 0, 0)),
        ("5558", (1, 1, 1, 4)),
    ],
)
def test_a_strum_alone_is_held_with_about_one_finger_a_fret(shape: str, fingers: tuple[int, ...]) -> None:
    (use,) = shapes_used(piece(strum(0, 1, shape=shape)))
    assert use.fingers == fingers


def test_those_who_are_asked_for_no_barre_are_shown_none() -> None:
    made = piece(strum(0, 1, shape="0222"))
    beginners = replace(made, song=replace(made.song, players="beginner"))
    (use,) = shapes_used(beginners)
    assert len(set(use.fingers)) == 4


def test_what_no_hand_can_hold_has_no_fingers() -> None:
    (use,) = shapes_used(piece(strum(0, 1, shape="1919")))
    assert use.fingers == ()


def test_some_bars_only() -> None:
    made = piece(strum(0, 4, shape="0003"), strum(4, 4, shape="2010"), visits=(Visit("verse", 1, 2),))
    assert [use.frets for use in shapes_used(made, {2})] == [(2, 0, 1, 0)]
    assert shapes_used(made, ()) == ()


@settings(max_examples=25, deadline=None)
@given(made=pieces())
def test_the_lines_together_are_the_song(made: Arrangement) -> None:
    lines = shapes_by_line(made)
    assert [number for line in lines for number in range(line.bars[0].number, line.bars[-1].number + 1)] == [
        bar.number for bar in made.bars
    ]
    from_lines = dict.fromkeys((use.chord, use.frets) for line in lines for use in line.shapes)
    assert list(from_lines) == [(use.chord, use.frets) for use in shapes_used(made)]


@pytest.mark.parametrize("tuning", TUNINGS)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_every_chord_stroke_of_a_song_is_played_with_a_listed_shape(path: Path, tuning: str) -> None:
    made = arrange(drop_pins(read_song(path))[0], TUNINGS[tuning])
    listed = {use.frets for use in shapes_used(made)}
    struck = {gesture.shape for gesture in made.gestures if gesture.action != "single"}
    assert listed == struck
    assert all(len(use.fingers) == 4 for use in shapes_used(made))


def test_a_name_and_a_shape_make_one_use() -> None:
    uses = shapes_used(four_bars())
    assert len({(use.chord, use.frets) for use in uses}) == len(uses)
    assert all(isinstance(use, ShapeUse) for use in uses)
