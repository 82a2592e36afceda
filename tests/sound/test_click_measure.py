"""Clicks are told from clean strings, wherever they stand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.sound.note_measures import CLICK_RATIO, click_ratio
from tests.sound.takes import RATE_HZ


def pluck(hertz: float = 440.0) -> NDArray[np.float32]:
    """Return 0.4 s of a string with ten partials."""
    time_s = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    partials = [
        np.exp(-3.0 * number * time_s) * np.sin(2.0 * np.pi * number * hertz * time_s) / number
        for number in range(1, 11)
    ]
    return np.asarray(0.2 * sum(partials), np.float32)


@pytest.mark.parametrize("hertz", [110.0, 262.0, 440.0, 880.0])
def test_a_clean_string_does_not_click(hertz: float) -> None:
    assert click_ratio(pluck(hertz), RATE_HZ) < 0.7 * CLICK_RATIO


@pytest.mark.parametrize("place_s", [0.05, 0.2, 0.37])
def test_a_break_is_found(place_s: float) -> None:
    broken = pluck()
    broken[round(place_s * RATE_HZ)] += 0.1 * broken.max()
    assert click_ratio(broken, RATE_HZ) > CLICK_RATIO


def test_the_stroke_and_the_damping_do_not_count() -> None:
    struck = pluck()
    struck[100] += 0.3
    struck[-100] += 0.3
    assert click_ratio(struck, RATE_HZ) < CLICK_RATIO


def test_silence_does_not_click() -> None:
    assert click_ratio(np.zeros(RATE_HZ, np.float32), RATE_HZ) == 0.0
