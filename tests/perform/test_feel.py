"""Feels: how far the players stray, and how far together."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from render.perform import lay_out, perform
from render.perform.deviation import pulse_factor, time_deviation_s
from render.perform.feel import FEELS
from render.perform.levels import level_lines
from render.song import Dynamics, Feel
from tests.perform.checks import spectrum_slope
from tests.perform.pieces import Visit, piece, tune

SEEDS, PULSES = range(60), 128


def late_s(feel: Feel, layer: str = "melody") -> NDArray[np.float64]:
    return np.array(
        [
            [
                time_deviation_s(seed, "verse", 1, layer, Fraction(pulse), FEELS[feel])
                for pulse in range(PULSES)
            ]
            for seed in SEEDS
        ]
    )


@pytest.mark.parametrize(("feel", "spread_s"), [("steady", 0.00335), ("natural", 0.0065), ("loose", 0.01097)])
def test_each_feel_has_its_spread_slope_and_coupling(feel: Feel, spread_s: float) -> None:
    melody, strums = late_s(feel), late_s(feel, "strums")
    assert melody.std() == pytest.approx(spread_s, rel=0.1)
    assert spectrum_slope(melody) == pytest.approx(-0.9, abs=0.15)
    assert np.corrcoef(melody.ravel(), strums.ravel())[0, 1] > 0.3


def test_without_coupling_the_players_go_their_own_ways() -> None:
    alone = replace(FEELS["natural"], together_s=0.0)
    runs = [
        [
            time_deviation_s(seed, "verse", 1, layer, Fraction(pulse), alone)
            for seed in SEEDS
            for pulse in range(PULSES)
        ]
        for layer in ("melody", "strums")
    ]
    melody, strums = np.array(runs)
    assert abs(np.corrcoef(melody, strums)[0, 1]) < 0.1


def test_no_deviation_goes_beyond_three_spreads_of_all() -> None:
    for feel in FEELS:
        melody = late_s(feel)
        looseness = FEELS[feel]
        assert np.abs(melody).max() <= 3.0 * np.hypot(looseness.together_s, looseness.own_s) + 1e-12


@pytest.mark.parametrize(("pulse_s", "factor"), [(0.6, 1.0), (0.15, 0.7), (1.0, 1.29), (3.0, 1.4)])
def test_slow_songs_stray_more(pulse_s: float, factor: float) -> None:
    assert pulse_factor(pulse_s) == pytest.approx(factor, abs=0.001)


@pytest.mark.parametrize("feel", FEELS)
@pytest.mark.parametrize("tempo", [30, 120, 300])
def test_nothing_sounds_before_the_file_starts(feel: Feel, tempo: int) -> None:
    made = piece(tune(0, 2, "4321"), tempo=tempo, visits=[Visit("verse", 1, 1)])
    loose = replace(made, song=replace(made.song, feel=feel))
    for seed in range(40):
        take = perform(loose, lay_out(loose, count_in_bars=0), seed=seed)
        assert take.notes[0].onset_s >= 0.0


@pytest.mark.parametrize(
    ("dynamics", "front_lu", "between_db", "strums_db"),
    [
        (Dynamics("f", "mp", "p"), None, -4.0, -8.0),
        (Dynamics("f", "mp", "p"), 6.0, 0.0, -2.0),
        (Dynamics("f", "mp", "p"), 15.0, -6.0, -11.0),
        (Dynamics("mf", "mf", "mf"), 8.0, -4.0, -8.0),
        (Dynamics("p", "p", "f"), 8.0, -12.0, -16.0),
    ],
)
def test_front_keeps_the_between_layer_where_it_was(
    dynamics: Dynamics, front_lu: float | None, between_db: float, strums_db: float
) -> None:
    lines = level_lines(piece().bars, dynamics, front_lu)
    assert lines["between"].at(Fraction(0)) == pytest.approx(between_db)
    assert lines["strums"].at(Fraction(0)) == pytest.approx(strums_db)
