from __future__ import annotations

import itertools
import logging
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import ParameterError
from tercet.performing import TakeNote
from tercet.sound.schedule import FADE_S, Stroke, fade_end, length_frames_of, strokes_of, touch_of
from tests.sound.takes import RATE_HZ, note, take


def test_a_note_starts_and_ends_in_its_own_frame() -> None:
    touch = touch_of(note(string=2))
    assert strokes_of(take([note(0.25, 0.5, midi=64, string=2, layer="strums", velocity=33)]), RATE_HZ) == (
        Stroke(on_frame=12_000, off_frame=36_000, string=2, layer_index=3, midi=64, velocity=33,
               shade=touch.shade, aside=touch.aside, skin=touch.skin),
    )  # fmt: skip


def test_every_frame_is_rounded_to_the_grid_by_itself() -> None:
    notes = [note(0.1 * index, 0.05) for index in range(1, 300)]
    strokes = strokes_of(take(notes, 40.0), RATE_HZ, grid_frames=64)
    for each, stroke in zip(notes, strokes, strict=True):
        assert stroke.on_frame % 64 == 0
        assert abs(stroke.on_frame - each.onset_s * RATE_HZ) <= 32.001
        assert stroke.off_frame is not None
        assert stroke.off_frame % 64 == 0
        assert abs(stroke.off_frame - (each.onset_s + 0.05) * RATE_HZ) <= 32.001


def test_a_stroke_between_two_frames_of_the_grid_goes_the_same_way_wherever_it_lies() -> None:
    for first in range(0, 48_000_000, 64 * 7919):
        at_s = (first + 32) / RATE_HZ
        (stroke,) = strokes_of(take([note(at_s, 0.1)], at_s + 1.0), RATE_HZ, grid_frames=64)
        assert stroke.on_frame == first + 64


def test_the_next_note_on_a_string_ends_the_one_before_whatever_its_layer() -> None:
    strokes = strokes_of(
        take([note(0.1, 0.9), note(0.3, 0.1, layer="strums"), note(0.2, 0.1, string=2)], 5.0), RATE_HZ
    )
    assert [(stroke.on_frame, stroke.off_frame, stroke.string) for stroke in strokes] == [
        (4800, 14_400, 1),
        (9600, 14_400, 2),
        (14_400, 19_200, 1),
    ]


def test_a_note_that_lasts_as_long_as_the_take_rings_into_the_end() -> None:
    notes = [note(0.1, 0.9, string=1), note(0.1, 2.0, string=2), note(0.1, 0.8, string=3)]
    assert [stroke.off_frame for stroke in strokes_of(take(notes, 1.0), RATE_HZ)] == [None, None, 43_200]


def test_a_chop_is_cut_short_and_never_rings() -> None:
    notes = [note(0.1, 0.9, string=1, action="chop"), note(0.5, 0.01, string=2, action="chop")]
    assert [stroke.off_frame for stroke in strokes_of(take(notes, 1.0), RATE_HZ)] == [5760, 24_480]


def test_a_note_sounds_for_one_step_of_the_grid_at_least() -> None:
    (stroke,) = strokes_of(take([note(0.1, 0.0)]), RATE_HZ, grid_frames=64)
    assert stroke.off_frame == stroke.on_frame + 64


def test_a_key_that_speaks_late_is_struck_early_but_not_before_the_beginning() -> None:
    notes = [note(0.002, 0.1, string=1), note(0.5, 0.1, string=2, midi=60), note(0.5, 0.1, string=3, midi=61)]
    strokes = strokes_of(
        take(notes), RATE_HZ, onset_delay_s=lambda note, _touch: {69: 0.005, 60: 0.004}.get(note.midi, 0.0)
    )
    assert [stroke.on_frame for stroke in strokes] == [0, 24_000 - 192, 24_000]


def test_of_two_strokes_in_one_frame_on_one_string_the_louder_is_kept(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)
    notes = [
        note(0.1, midi=60, velocity=80),
        note(0.1, midi=62, velocity=90),
        note(0.1, midi=64, velocity=70),
    ]
    (stroke,) = strokes_of(take(notes), RATE_HZ)
    assert stroke.midi == 62
    assert "string 1: 2 strokes fall together" in caplog.text


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (replace(note(), string=5), r"string must be 1 to 4 \(got 5\)"),
        (replace(note(), string=0), r"string must be 1 to 4 \(got 0\)"),
        (replace(note(), midi=128), r"key must be 0 to 127 \(got 128\)"),
        (replace(note(), velocity=0), r"velocity must be 1 to 127 \(got 0\)"),
    ],
)
def test_a_note_that_nothing_can_play_is_refused(wrong: TakeNote, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        strokes_of(take([wrong]), RATE_HZ)


@given(
    st.lists(
        st.builds(
            note,
            onset_s=st.floats(-0.05, 3.0),
            length_s=st.floats(0.0, 3.0),
            midi=st.integers(40, 100),
            string=st.integers(1, 4),
            layer=st.sampled_from(["melody", "between", "strums"]),
            velocity=st.integers(1, 127),
            action=st.sampled_from(["single", "chop", "roll"]),
        ),
        max_size=20,
    ),
    st.sampled_from([1, 64]),
)
def test_a_string_sounds_one_note_at_a_time(notes: list[TakeNote], grid: int) -> None:
    strokes = strokes_of(take(notes, 3.0), RATE_HZ, grid)
    assert {stroke.string for stroke in strokes} == {each.string for each in notes}
    assert list(strokes) == sorted(strokes, key=lambda stroke: (stroke.on_frame, stroke.string))
    for string in range(1, 5):
        mine = [stroke for stroke in strokes if stroke.string == string]
        for before, after in itertools.pairwise(mine):
            assert before.off_frame is not None
            assert before.on_frame < before.off_frame <= after.on_frame


def test_the_end_sinks_to_nothing_evenly() -> None:
    samples = np.ones((RATE_HZ, 2), np.float32)
    fade_end(samples, RATE_HZ)
    start = RATE_HZ - round(FADE_S * RATE_HZ)
    assert (samples[:start] == 1).all()
    assert (np.diff(samples[start:, 0]) <= 0).all()
    assert np.abs(np.diff(samples[:, 0])).max() < 1e-4
    assert samples[-1, 0] == samples[-1, 1] == 0
    short = np.ones((10, 2), np.float32)
    fade_end(short, RATE_HZ)
    assert short[-1, 0] == 0
    fade_end(np.ones((0, 2), np.float32), RATE_HZ)


def test_the_length_of_a_stem_is_the_take_and_its_ringing_end() -> None:
    assert length_frames_of(take([], 2.5), RATE_HZ) == 4 * RATE_HZ
