"""Strokes without a speed: which there are, and what of them a speed can't change."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tercet.performing import interpret, lay_out
from tercet.performing.any_speed import piece_strokes
from tests.performing.pieces import Visit, piece, strum, tune

PIECE = piece(
    *(tune(beat, 1, "4321") for beat in range(0, 9, 3)),
    *(strum(beat, 1) for beat in (1, 4, 7)),
    visits=(Visit("verse", 1, 2, Fraction(1)),),
    tempo=90,
    marks={},
)


def test_each_note_of_a_take_is_a_string_of_its_gesture() -> None:
    playing = interpret(PIECE)
    take = playing.perform(lay_out(PIECE, None, Fraction(1), 0))
    strokes = piece_strokes(playing, take)
    assert len(strokes.strings) == len(take.notes)
    for note, stroke in zip(take.notes, strokes.strings, strict=True):
        item = playing.placed[stroke.gesture]
        assert item.gesture.notes[stroke.place].string == note.string
        gesture = strokes.gestures[stroke.gesture]
        assert gesture.roll == (note.action == "roll")
        assert len(gesture.uneven) == len(item.gesture.notes) - 1
    assert any(stroke.end_s is None for stroke in strokes.strings)


@pytest.mark.parametrize("speed", [Fraction(1, 2), Fraction(5, 4)])
def test_beats_get_longer_and_deviations_stay(speed: Fraction) -> None:
    playing = interpret(PIECE)
    take = playing.perform(lay_out(PIECE, None, speed, 0))
    full = playing.perform(lay_out(PIECE, None, Fraction(1), 0))
    strokes = piece_strokes(playing, full)
    start_s = take.bars[0].start_s
    for note in take.notes:
        gesture = strokes.gestures[note.gesture]
        latest_s = start_s + (gesture.onset_s - strokes.bars_s[0]) / float(speed) + gesture.late_s
        assert note.onset_s <= latest_s + 1e-9
    ends = [(each - strokes.bars_s[0]) / float(speed) + start_s for each in strokes.bars_s]
    assert ends[:-1] == pytest.approx([bar.start_s for bar in take.bars], abs=1e-6)
