"""Each check of a take passes on what is played and fails when one thing is spoilt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pytest

from tercet.performing import TakeNote, lay_out, perform
from tercet.song import Dynamics
from tests.performing.checks import (
    gestures_of,
    late_s,
    layer_levels_db,
    missing_notes,
    overlaps,
    roll_faults,
    spectrum_slope,
)
from tests.performing.pieces import Stroke, Visit, added, piece, strum, tune

BARS = 32
LEVELS_DB = {"melody": 4.0, "between": -4.0, "strums": -8.0}
BEAT_S = 0.6


def strokes() -> Iterator[Stroke]:
    """Yield 32 bars: a roll, two strums and an added note each."""
    for bar in range(BARS):
        beat = 4 * bar
        yield tune(beat, 4, "4321")
        yield strum(beat + 1, 1)
        yield strum(beat + 2, 1)
        yield added(beat + 3, 1)


MADE = piece(*strokes(), tempo=100, visits=[Visit("verse", 1, BARS)], dynamics=Dynamics("f", "mp", "p"))
DUE_S = {gesture.start_beat: (4 + float(gesture.start_beat)) * BEAT_S for gesture in MADE.gestures}
WRITTEN = [
    (gesture.start_beat, note.string, note.midi) for gesture in MADE.gestures for note in gesture.notes
]


def played(seed: int = 1, dry: bool = False) -> tuple[TakeNote, ...]:
    return perform(MADE, lay_out(MADE), seed=seed, dry=dry, steady_pulse=True).notes


def lateness_s(notes: Sequence[TakeNote]) -> list[float]:
    return [late for _, late in late_s(notes, DUE_S)]


def levels_are_right(notes: Sequence[TakeNote]) -> bool:
    """Return whether layers lie at their marks, bar accents (0.8 dB where all is on first beats) aside."""
    return layer_levels_db(notes) == pytest.approx(LEVELS_DB, abs=1.1)


def test_played_as_it_is_every_check_passes() -> None:
    notes = played()
    assert overlaps(notes) == []
    assert roll_faults(notes) == []
    assert missing_notes(notes, WRITTEN) == []
    assert levels_are_right(notes)
    assert max(map(abs, lateness_s(played(dry=True)))) < 1e-6
    assert np.std(lateness_s(notes)) == pytest.approx(0.0065, abs=0.003)


def test_roll_reversed() -> None:
    notes = played()
    rolled = next(struck for struck in gestures_of(notes).values() if struck[0].action == "roll")
    onsets_s = {id(note): other.onset_s for note, other in zip(rolled, reversed(rolled), strict=True)}
    spoilt = [replace(note, onset_s=onsets_s.get(id(note), note.onset_s)) for note in notes]
    assert roll_faults(spoilt)[:1] == ["gesture 0: strings [1, 2, 3, 4]"]


def test_roll_too_wide_and_tune_too_soft() -> None:
    notes = played()
    early = [replace(note, onset_s=note.onset_s - 0.020 * (note.string == 4)) for note in notes]
    soft = [replace(note, level_db=note.level_db - 7.0 * (note.part == "tune")) for note in notes]
    assert len(roll_faults(early)) >= BARS
    assert roll_faults(soft) == [
        f"gesture {number}: the last string isn't the loudest" for number in range(0, 128, 4)
    ]


@pytest.mark.parametrize("layer", ["melody", "between", "strums"])
def test_layer_2_db_louder(layer: str) -> None:
    spoilt = [replace(note, level_db=note.level_db + 2.0 * (note.layer == layer)) for note in played()]
    assert not levels_are_right(spoilt)


@pytest.mark.parametrize(("beat", "gesture"), [(4, 4), (6, 6), (7, 7)])
def test_gesture_10_ms_late(beat: int, gesture: int) -> None:
    notes = [replace(note, onset_s=note.onset_s + 0.010 * (note.beat == beat)) for note in played(dry=True)]
    assert [number for number, seconds in late_s(notes, DUE_S) if abs(seconds) > 0.001] == [gesture]


def test_string_of_a_roll_10_ms_late() -> None:
    notes = [
        replace(note, onset_s=note.onset_s + 0.010 * (note.beat == 4 and note.string == 2))
        for note in played(dry=True)
    ]
    assert [fault.partition(":")[0] for fault in roll_faults(notes)] == ["gesture 4"]


def test_dropped_note() -> None:
    notes = played()
    assert missing_notes([*notes[:50], *notes[51:]], WRITTEN) == [
        (notes[50].beat, notes[50].string, notes[50].midi)
    ]


def test_note_that_rings_into_the_next() -> None:
    notes = played()
    spoilt = [replace(note, length_s=note.length_s + 0.02 * (note.layer == "strums")) for note in notes]
    assert overlaps(spoilt)


def test_white_noise_instead_of_deviations() -> None:
    human = np.array([lateness_s(played(seed)) for seed in range(24)])
    white = np.random.default_rng(3).normal(0.0, human.std(), human.shape)
    assert spectrum_slope(human) < -0.6
    assert spectrum_slope(white) > -0.3
