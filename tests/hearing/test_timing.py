"""Late and early, tempo by bar, pauses and repeats, of times that are written down here."""

from __future__ import annotations

import numpy as np
import pytest

from tercet.arranging import Arrangement
from tercet.hearing.timing import bar_tempi, lateness_s, overall_slope, pauses, repeats, runs_of
from tercet.hearing.wanted import WantedTake, wanted_take
from tercet.song import LAYERS


@pytest.fixture(scope="module")
def wanted(arrangement: Arrangement) -> WantedTake:
    return wanted_take(arrangement, frozenset(LAYERS))


def runs(places: list[int], times_s: np.ndarray, wanted: WantedTake, slope: float = 1.0) -> list[range]:
    return runs_of(places, times_s, np.full(len(wanted.strokes), slope), wanted)


def test_one_late_stroke_is_late_and_its_neighbours_are_not(wanted: WantedTake) -> None:
    places = list(range(40))
    times_s = 1.3 * wanted.onsets_s[:40]
    times_s[20] += 0.15
    late = lateness_s(places, times_s, runs(places, times_s, wanted, 1.3), wanted)
    assert late[20] == pytest.approx(0.15, abs=0.01)
    assert np.abs(np.delete(late, 20)).max() < 0.1


def test_a_tempo_that_bends_makes_nobody_late(wanted: WantedTake) -> None:
    places = list(range(60))
    along = np.linspace(0.0, 1.0, 60)
    times_s = np.concatenate([[0.0], np.cumsum(np.diff(wanted.onsets_s[:60]) * (1.0 + 0.6 * along[1:] ** 3))])
    late = lateness_s(places, times_s, runs(places, times_s, wanted), wanted)
    assert np.abs(late).max() < 0.08


def test_tempo_by_bar_and_of_the_whole(wanted: WantedTake) -> None:
    places = list(range(len(wanted.strokes)))
    slow = (wanted.bar_numbers >= 9) & (wanted.bar_numbers <= 10)
    steps = np.diff(wanted.onsets_s) * np.where(slow[:-1], 1.0, 0.8)
    times_s = np.concatenate([[0.0], np.cumsum(steps)])
    parts = runs(places, times_s, wanted, 0.8)
    assert overall_slope(places, times_s, parts, wanted) == pytest.approx(0.8, rel=0.01)
    tempi = {bar.bar_number: bar for bar in bar_tempi(places, times_s, parts, wanted)}
    assert tempi[5].part == pytest.approx(1.0, abs=0.02)
    assert tempi[9].part == pytest.approx(0.8, abs=0.03)
    assert tempi[5].tempo == pytest.approx(60.0 / (wanted.pulse_s * 0.8), rel=0.02)


def test_a_pause_and_a_repeat_are_told_by_their_bars(wanted: WantedTake) -> None:
    ninth = int(np.searchsorted(wanted.bar_numbers, 9))
    fifth = int(np.searchsorted(wanted.bar_numbers, 5))
    places = [*range(ninth), *range(fifth, len(wanted.strokes))]
    first_s = wanted.onsets_s[:ninth]
    rest_s = wanted.onsets_s[fifth:] - wanted.onsets_s[fifth] + first_s[-1] + 0.6
    times_s = np.concatenate([first_s, rest_s])
    twelfth = ninth - fifth + int(np.searchsorted(wanted.bar_numbers, 12))
    times_s[twelfth:] += 2.0
    ones = np.ones(len(wanted.strokes))
    (repeat,) = repeats(places, times_s, wanted)
    assert (repeat.after_bar, repeat.to_bar) == (int(wanted.bar_numbers[ninth - 1]), 5)
    (pause,) = pauses(places, times_s, ones, wanted)
    assert pause.bar_number == 12
    assert pause.length_s == pytest.approx(2.0, abs=0.05)
    assert [len(run) for run in runs(places, times_s, wanted)] == [
        ninth,
        twelfth - ninth,
        len(places) - twelfth,
    ]
