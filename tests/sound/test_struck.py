from __future__ import annotations

import numpy as np
import pytest

from tercet.sound.note_measures import centroid_hz
from tercet.sound.struck import BELL, CHOP_STRENGTHS, WOOD, StruckBody, chop, strike

RATE_HZ = 48_000


@pytest.mark.parametrize(("body", "hertz"), [(WOOD, 1010.0), (BELL, 1568.0)])
def test_a_struck_body_sounds_its_partials_and_is_over_in_its_time(body: StruckBody, hertz: float) -> None:
    sound = strike(body, RATE_HZ)
    assert len(sound) == round(body.length_s * RATE_HZ)
    assert np.abs(sound).max() == pytest.approx(1.0)
    power = np.abs(np.fft.rfft(sound, RATE_HZ)) ** 2
    assert np.argmax(power) == pytest.approx(hertz, abs=15)
    for partial_hz, _, _ in body.partials[1:]:
        near = power[round(partial_hz) - 60 : round(partial_hz) + 60]
        assert near.max() > 5 * np.median(power[round(partial_hz) + 200 : round(partial_hz) + 400])
    assert np.argmax(np.abs(strike(body, RATE_HZ, 1.5))) < 0.01 * RATE_HZ
    assert abs(sound[0]) < 1e-3
    assert abs(sound[-1]) < 1e-3


@pytest.mark.parametrize("up", [False, True])
def test_a_firmer_chop_is_brighter_and_every_chop_is_short(up: bool) -> None:
    chops = [chop(strength, up=up, rate_hz=RATE_HZ) for strength in range(len(CHOP_STRENGTHS))]
    bright = [centroid_hz(np.pad(sound, (0, RATE_HZ)), RATE_HZ) for sound in chops]
    assert bright == sorted(bright)
    assert bright[-1] > 1.5 * bright[0]
    for sound in chops:
        energy = np.cumsum(sound**2)
        assert energy[round(0.08 * RATE_HZ)] > 0.9 * energy[-1]
        assert np.abs(sound).max() == pytest.approx(1.0)
        assert abs(sound[-1]) < 1e-3


def test_an_upstroke_is_no_downstroke() -> None:
    down, up = (chop(2, up=each, rate_hz=RATE_HZ) for each in (False, True))
    assert np.corrcoef(down, up)[0, 1] < 0.95
