"""Small deviations: their size, their spectrum, what players share, and that they belong to a place."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tercet.performing.deviation import LIMIT_SD, level_deviation_db, time_deviation_s
from tests.performing.checks import spectrum_slope

SEEDS = range(80)
TIME_HEX = ["-0x1.3056569f3be58p-7", "-0x1.19e526ac298fbp-11"]
LEVEL_HEX = ["-0x1.0d5adce953c46p+0", "-0x1.366bae37e6d76p-3"]
PULSES = 128


def late_s(seed: int, layer: str = "melody", section: str = "verse", pass_number: int = 1) -> list[float]:
    return [time_deviation_s(seed, section, pass_number, layer, Fraction(pulse)) for pulse in range(PULSES)]


@pytest.fixture(scope="module")
def melody() -> NDArray[np.float64]:
    return np.array([late_s(seed) for seed in SEEDS])


def test_values_are_the_same_on_every_machine() -> None:
    places = ((1, "verse", 1, "melody", Fraction(0)), (7, "chorus", 2, "strums", Fraction(-5, 3)))
    assert [time_deviation_s(*place).hex() for place in places] == TIME_HEX
    assert [level_deviation_db(*place).hex() for place in places] == LEVEL_HEX


def test_spread_is_that_of_a_good_ensemble(melody: NDArray[np.float64]) -> None:
    assert melody.std() == pytest.approx(0.0065, rel=0.05)
    assert abs(melody.mean()) < 0.001
    assert np.abs(melody).max() < LIMIT_SD * 0.0085


def test_level_spreads_by_0_6_db() -> None:
    levels = [
        level_deviation_db(seed, "verse", 1, "strums", Fraction(pulse))
        for seed in SEEDS
        for pulse in range(PULSES)
    ]
    assert np.std(levels) == pytest.approx(0.6, rel=0.05)
    assert max(map(abs, levels)) <= 0.6 * LIMIT_SD


def test_spectrum_is_nearly_pink(melody: NDArray[np.float64]) -> None:
    assert spectrum_slope(melody) == pytest.approx(-0.95, abs=0.1)


def test_white_noise_is_told_from_it() -> None:
    white = np.random.default_rng(5).normal(0.0, 0.0065, (len(SEEDS), PULSES))
    assert spectrum_slope(white) == pytest.approx(0.0, abs=0.15)
    assert spectrum_slope(np.cumsum(white, axis=1)) < -1.5


def test_layers_move_together(melody: NDArray[np.float64]) -> None:
    strums = np.array([late_s(seed, "strums") for seed in SEEDS])
    shared = np.corrcoef(melody.ravel(), strums.ravel())[0, 1]
    assert shared == pytest.approx(0.006**2 / (0.006**2 + 0.0025**2), abs=0.05)


@pytest.mark.parametrize(
    ("section", "pass_number", "seed_step"), [("chorus", 1, 0), ("verse", 2, 0), ("verse", 1, 1000)]
)
def test_other_places_and_seeds_are_other_playings(
    melody: NDArray[np.float64], section: str, pass_number: int, seed_step: int
) -> None:
    other = np.array([late_s(seed + seed_step, section=section, pass_number=pass_number) for seed in SEEDS])
    assert abs(np.corrcoef(melody.ravel(), other.ravel())[0, 1]) < 0.08


def test_spread_between_the_pulses_is_the_same() -> None:
    between = [
        time_deviation_s(seed, "verse", 1, "melody", pulse + Fraction(1, 2))
        for seed in SEEDS
        for pulse in range(PULSES)
    ]
    assert np.std(between) == pytest.approx(0.0065, rel=0.05)


@given(st.integers(0, 99), st.fractions(-8, 200, max_denominator=24))
def test_places_that_are_near_deviate_alike(seed: int, pulse: Fraction) -> None:
    here, there = (
        time_deviation_s(seed, "verse", 1, "melody", place) for place in (pulse, pulse + Fraction(1, 10_000))
    )
    assert abs(here - there) < 2e-5


def test_a_section_name_cannot_be_mistaken_for_a_place() -> None:
    one = time_deviation_s(1, "a", 1, "melody", Fraction(0))
    other = time_deviation_s(1, "0/0/a", 1, "melody", Fraction(0))
    assert one != other
