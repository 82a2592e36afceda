from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.performing import Click
from tercet.sound.struck import BELL_PEAK, PEAK, WOOD, cue_stem, knock, turn_bell

RATE_HZ = 48_000


def spectrum(sound: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    power = np.abs(np.fft.rfft(sound.astype(np.float64), RATE_HZ)) ** 2
    return np.arange(len(power), dtype=np.float64), power


def test_each_click_sounds_where_it_belongs_and_nowhere_else() -> None:
    stem = cue_stem([Click(0.0, True), Click(0.5, False)], RATE_HZ, RATE_HZ)
    assert stem.shape == (RATE_HZ, 2)
    assert stem.dtype == np.float32
    length = round(WOOD.length_s * RATE_HZ)
    expected = np.zeros(RATE_HZ, np.float32)
    expected[:length] = knock(True, RATE_HZ)
    expected[24_000 : 24_000 + length] = knock(False, RATE_HZ)
    assert np.array_equal(stem[:, 0], expected)
    assert np.array_equal(stem[:, 1], expected)


def test_clicks_that_overlap_add_up_and_clicks_at_the_end_are_cut() -> None:
    two = cue_stem([Click(0.0, False), Click(0.01, False)], 9600, RATE_HZ)
    one = cue_stem([Click(0.0, False)], 9600, RATE_HZ)
    later = cue_stem([Click(0.01, False)], 9600, RATE_HZ)
    np.testing.assert_allclose(two, one + later, atol=1e-7)
    cut = cue_stem([Click(0.0, False), Click(7.0, True)], 100, RATE_HZ)
    assert np.array_equal(cut[:, 0], knock(False, RATE_HZ)[:100])
    assert cue_stem([Click(0.0, True)], 0, RATE_HZ).shape == (0, 2)


@pytest.mark.parametrize("first", [True, False])
def test_a_knock_is_soft_short_and_holds_nothing_shrill(first: bool) -> None:
    sound = knock(first, RATE_HZ)
    assert np.abs(sound).max() == pytest.approx(PEAK, rel=1e-6)
    assert abs(sound[0]) < 1e-6
    assert abs(sound[-1]) < 1e-5
    assert np.sum(sound[4800:] ** 2) < 1e-4 * np.sum(sound**2)
    hertz, power = spectrum(sound)
    assert power[hertz > 8000].sum() < 1e-5 * power.sum()
    assert power[hertz < 200].sum() < 1e-2 * power.sum()


def test_the_first_of_a_bar_is_a_fourth_higher() -> None:
    peaks = [
        float(hertz[np.argmax(power)])
        for hertz, power in map(spectrum, (knock(True, RATE_HZ), knock(False, RATE_HZ)))
    ]
    assert 1200 * np.log2(peaks[0] / peaks[1]) == pytest.approx(498, abs=25)
    assert peaks[1] == pytest.approx(1010, abs=15)


def test_a_knock_is_the_same_always_and_cannot_be_changed() -> None:
    before = knock(True, 44_100).copy()
    knock.cache_clear()
    assert np.array_equal(knock(True, 44_100), before)
    with pytest.raises(ValueError, match="read-only"):
        knock(True, 44_100)[0] = 1.0


def test_the_bell_of_a_turn_rings_longer_and_higher_than_wood_and_no_louder() -> None:
    bell, wood = turn_bell(RATE_HZ), knock(True, RATE_HZ)
    assert np.abs(bell).max() == pytest.approx(BELL_PEAK, rel=1e-6)
    assert BELL_PEAK < PEAK
    assert np.sum(bell[9600:] ** 2) > 0.03 * np.sum(bell**2)
    assert abs(bell[-1]) < 1e-5
    hertz, power = spectrum(bell)
    assert hertz[np.argmax(power)] == pytest.approx(1568, abs=3)
    assert hertz[np.argmax(power)] > hertz[np.argmax(spectrum(wood)[1])]
    assert power[hertz > 8000].sum() < 1e-3 * power.sum()
