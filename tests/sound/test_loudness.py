from __future__ import annotations

import math

import numpy as np
import pyloudnorm
import pytest
import scipy.signal
from numpy.typing import NDArray

from tercet.sound import k_weighting, loudness
from tercet.sound.loudness import (
    integrated_loudness_lufs,
    plain_loudness_lufs,
    step_energies,
    true_peak_dbtp,
)
from tests.tracks.plucks import RATE_HZ, plucks, silence, sine

EXPECTED_WEIGHTING_DB = {
    40: -6.258,
    60: -3.590,
    100: -1.825,
    500: -0.649,
    2000: 2.380,
    4000: 3.277,
    10_000: 3.351,
}
"""K-weighting against 997 Hz, from the Recommendation's coefficients by way of pyloudnorm's «DeMan» filters."""


def k_weighted_level_lufs(samples: NDArray[np.float32], sample_rate_hz: int) -> float:
    return plain_loudness_lufs(step_energies(samples, sample_rate_hz), samples.shape[0])


def weighting_agrees() -> bool:
    reference_lufs = k_weighted_level_lufs(sine(997, -20, 2), RATE_HZ)
    errors_db = [
        k_weighted_level_lufs(sine(frequency_hz, -20, 2), RATE_HZ) - reference_lufs - expected_db
        for frequency_hz, expected_db in EXPECTED_WEIGHTING_DB.items()
    ]
    return max(map(abs, errors_db)) < 0.02


def oversample_all(samples: NDArray[np.float32]) -> float:
    phases = loudness._interpolator()[0][::-1]
    return float(np.abs(scipy.signal.upfirdn(phases.reshape(-1), samples.astype(float), up=8, axis=0)).max())


# Synthetic signals of EBU Tech 3341, minimum requirements 1 to 5: tolerance 0.1 LU.
EBU_CASES: dict[str, list[tuple[float, float]]] = {
    "steady": [(-23, 20)],
    "quiet": [(-33, 20)],
    "relative gate": [(-36, 10), (-23, 60), (-36, 10)],
    "both gates": [(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)],
    "within the gates": [(-26, 20), (-20, 20.1), (-26, 20)],
}


@pytest.mark.parametrize("case", EBU_CASES)
def test_loudness_of_ebu_signals(case: str) -> None:
    parts = [sine(1000, level_dbfs, length_s) for level_dbfs, length_s in EBU_CASES[case]]
    expected = -33.0 if case == "quiet" else -23.0
    assert integrated_loudness_lufs(np.concatenate(parts), RATE_HZ) == pytest.approx(expected, abs=0.1)


def test_full_scale_sine_in_one_channel_has_the_recommended_reading() -> None:
    both = sine(997, 0, 3)
    left = both * np.array([1, 0], np.float32)
    assert integrated_loudness_lufs(left, RATE_HZ) == pytest.approx(-3.01, abs=0.01)
    assert integrated_loudness_lufs(both[:, :1].copy(), RATE_HZ) == pytest.approx(-3.01, abs=0.01)
    assert integrated_loudness_lufs(both, RATE_HZ) == pytest.approx(0.0, abs=0.01)


def test_without_gates_the_gated_signals_read_otherwise() -> None:
    parts = [sine(1000, level_dbfs, length_s) for level_dbfs, length_s in EBU_CASES["relative gate"]]
    assert k_weighted_level_lufs(np.concatenate(parts), RATE_HZ) == pytest.approx(-24.18, abs=0.05)


def test_loudness_agrees_with_an_independent_meter() -> None:
    sound = plucks(20, seed=5)
    sound[5 * RATE_HZ : 12 * RATE_HZ] *= np.float32(0.05)
    witness = pyloudnorm.Meter(RATE_HZ, "DeMan").integrated_loudness(sound.astype(float))
    assert integrated_loudness_lufs(sound, RATE_HZ) == pytest.approx(witness, abs=1e-6)


def test_weighting_has_the_recommended_response() -> None:
    assert weighting_agrees()


@pytest.mark.parametrize(
    "wrong",
    [
        k_weighting._SECTIONS[:1],
        k_weighting._SECTIONS[1:],
        (((1.5, -2.7, 1.2), k_weighting._SECTIONS[0][1]), k_weighting._SECTIONS[1]),
    ],
    ids=["no high-pass", "no shelf", "shelf rounded"],
)
def test_a_wrong_weighting_is_caught(monkeypatch: pytest.MonkeyPatch, wrong: object) -> None:
    monkeypatch.setattr(k_weighting, "_SECTIONS", wrong)
    assert not weighting_agrees()


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 96_000])
def test_weighting_is_the_same_at_other_rates(rate_hz: int) -> None:
    for frequency_hz in (60, 997, 4000):
        here = k_weighted_level_lufs(sine(frequency_hz, -20, 2), RATE_HZ)
        there = k_weighted_level_lufs(sine(frequency_hz, -20, 2, rate_hz=rate_hz), rate_hz)
        assert there == pytest.approx(here, abs=0.15)


def test_loudness_follows_gain_one_to_one() -> None:
    sound = plucks(5)
    loud, soft = (integrated_loudness_lufs(sound * np.float32(gain), RATE_HZ) for gain in (1, 0.5))
    assert loud - soft == pytest.approx(20 * math.log10(2), abs=1e-4)


def test_level_of_a_gesture_is_that_of_its_window() -> None:
    window = plucks(0.4)
    assert k_weighted_level_lufs(window, RATE_HZ) == pytest.approx(
        integrated_loudness_lufs(window, RATE_HZ), abs=1e-9
    )
    odd = plucks(0.4123)
    power_sum = 10 ** (k_weighted_level_lufs(odd, RATE_HZ) / 10) * len(odd)
    padded = np.concatenate([odd, silence(0.4)])
    assert k_weighted_level_lufs(padded, RATE_HZ) == pytest.approx(
        10 * math.log10(power_sum / len(padded)), abs=0.01
    )


def test_audio_shorter_than_a_block_is_measured_as_if_silence_followed() -> None:
    short = sine(1000, -20, 0.2)
    assert integrated_loudness_lufs(short, RATE_HZ) == pytest.approx(-20 - 3.01, abs=0.1)


@pytest.mark.parametrize("length_s", [0, 0.1, 2])
def test_silence_measures_minus_infinity(length_s: float) -> None:
    nothing = silence(length_s)
    assert integrated_loudness_lufs(nothing, RATE_HZ) == -math.inf
    assert k_weighted_level_lufs(nothing, RATE_HZ) == -math.inf
    assert true_peak_dbtp(nothing) == -math.inf


# A quarter of the sample rate: EBU Tech 3341, cases 15 to 19, tolerance +0.2 −0.4 dB.
@pytest.mark.parametrize("phase_degrees", [0, 45, 60, 67.5])
def test_true_peak_of_a_quarter_of_the_rate(phase_degrees: float) -> None:
    wave = sine(RATE_HZ / 4, 0, 1, phase_degrees=phase_degrees)
    fade = np.minimum(1, np.minimum(np.arange(len(wave)), np.arange(len(wave))[::-1]) / 4800)
    wave = (wave * fade[:, None]).astype(np.float32)
    assert true_peak_dbtp(wave) == pytest.approx(0.0, abs=0.05)
    if phase_degrees == 45:
        assert 20 * math.log10(np.abs(wave).max()) == pytest.approx(-3.01, abs=0.01)


@pytest.mark.parametrize(("frequency_hz", "missed_db"), [(1000, 0.001), (5000, 0.011), (20_000, 0.13)])
def test_true_peak_misses_little_at_any_pitch(frequency_hz: float, missed_db: float) -> None:
    wave = sine(frequency_hz + 0.37, -6, 0.5)
    wave *= np.hanning(len(wave))[:, None].astype(np.float32)
    assert -6 - missed_db - 0.01 < true_peak_dbtp(wave) < -6 + 0.01


@pytest.mark.parametrize("seed", range(6))
def test_true_peak_equals_that_of_oversampling_everything(seed: int) -> None:
    generator = np.random.default_rng(seed)
    sound = plucks(1.5, seed)
    if seed == 1:
        sound += generator.standard_normal(sound.shape).astype(np.float32)
    if seed == 2:  # the peak where the audio begins
        sound[:3] = 1
    if seed == 3:  # and where it ends
        sound[-2:] = (1, -1)
    if seed == 4:  # and across the edge of a block
        sound[1023:1025] = 1
    if seed == 5:
        sound = np.ascontiguousarray(sound[:1024, :1])
    assert 10 ** (true_peak_dbtp(sound) / 20) == pytest.approx(oversample_all(sound), rel=1e-12)


def test_true_peak_oversamples_only_where_it_must(monkeypatch: pytest.MonkeyPatch) -> None:
    sound = plucks(10, seed=4)
    looked_at = []
    whole = loudness._block_peak

    def counted(around: NDArray[np.float32]) -> float:
        looked_at.append(around)
        return whole(around)

    monkeypatch.setattr(loudness, "_block_peak", counted)
    true_peak_dbtp(sound)
    assert 1 <= len(looked_at) < 0.1 * len(sound) / 1024
