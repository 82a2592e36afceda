from __future__ import annotations

import numpy as np
import pytest

from tercet.performing import Click
from tercet.sound import SAMPLE_RATE_HZ, STEM_NAMES, Synthesiser
from tercet.sound.audio import check_audio
from tercet.sound.struck import cue_stem
from tests.sound.fake import FakeSynthesiser
from tests.sound.takes import busy_take, hertz_of, level_db, note, take


def test_a_note_is_the_sinusoid_that_the_class_promises() -> None:
    made = FakeSynthesiser().stems(take([note(0.25, 0.5, midi=60, velocity=127)], 1.0)).by_name["melody"]
    time_s = np.arange(24_000) / SAMPLE_RATE_HZ
    promised = 0.25 * 10 ** (-time_s) * np.sin(2 * np.pi * 440 * 2 ** (-9 / 12) * time_s)
    np.testing.assert_allclose(made[12_000:36_000, 0], promised, atol=1e-6)
    assert not made[:12_000].any()
    assert np.array_equal(made[:, 0], made[:, 1])


def test_it_serves_as_a_synthesiser_with_all_stems_of_one_length() -> None:
    synthesiser: Synthesiser = FakeSynthesiser()
    played = take([note()], 1.0, [Click(0.0, True)])
    stems = synthesiser.stems(played)
    assert tuple(sorted(stems.by_name)) == tuple(sorted(STEM_NAMES))
    assert stems.length_frames == 2.5 * SAMPLE_RATE_HZ
    for samples in stems.by_name.values():
        assert check_audio(samples).shape == (stems.length_frames, 2)
    assert np.array_equal(stems.by_name["cues"], cue_stem(played.clicks, stems.length_frames, SAMPLE_RATE_HZ))
    assert synthesiser.identity() == FakeSynthesiser().identity()


def test_level_follows_velocity_by_forty_times_the_logarithm() -> None:
    notes = [note(0.0, 0.5, velocity=127), note(1.0, 0.5, velocity=64)]
    made = FakeSynthesiser().stems(take(notes, 2.0)).by_name["melody"]
    difference_db = level_db(made, 1.0, 1.4) - level_db(made, 0.0, 0.4)
    assert difference_db == pytest.approx(40 * np.log10(64 / 127), abs=0.001)


def test_pitch_is_exact_and_a_damped_note_is_silent_after_twenty_milliseconds() -> None:
    made = FakeSynthesiser().stems(take([note(0.1, 0.9, midi=64)], 2.0)).by_name["melody"]
    assert hertz_of(made, 0.1, 0.95, 329.6) == pytest.approx(440 * 2 ** (-5 / 12), abs=0.001)
    assert not made[round(1.021 * SAMPLE_RATE_HZ) :].any()


def test_each_layer_has_its_own_stem_and_the_same_take_gives_the_same_samples() -> None:
    played = busy_take(4.0, 60)
    first, second = FakeSynthesiser().stems(played), FakeSynthesiser().stems(played)
    for name in STEM_NAMES:
        assert np.array_equal(first.by_name[name], second.by_name[name])
    alone = FakeSynthesiser().stems(take([note(layer="between")])).by_name
    assert alone["between"].any()
    assert not alone["melody"].any()
    assert not alone["strums"].any()


def test_a_stem_alone_has_the_same_samples() -> None:
    played = take([note(layer="between"), note(0.2, 0.4, string=2, layer="strums")])
    whole = FakeSynthesiser().stems(played).by_name
    for name in STEM_NAMES:
        alone = FakeSynthesiser().stems(played, (name,)).by_name
        assert list(alone) == [name]
        assert np.array_equal(alone[name], whole[name])
