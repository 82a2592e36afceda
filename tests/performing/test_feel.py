"""How exactly the players keep together: sizes, scale, unevenness, coupling, and what none of it may do."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tercet.arranging import arrange
from tercet.performing import lay_out, perform
from tercet.performing.deviation import FEELS, FeelFigures, pulse_scale, step_deviation, time_deviation_s
from tercet.song import Feel, read_song
from tests.kits import ROOT
from tests.performing.checks import gestures_of, roll_faults, spectrum_slope

SONGS = sorted((ROOT / "songs").glob("*.yaml"))
SEEDS, PULSES = range(60), 128


def late_s(feel: FeelFigures, layer: str = "melody") -> np.ndarray:
    return np.array(
        [
            [time_deviation_s(seed, "verse", 1, layer, Fraction(pulse), feel) for pulse in range(PULSES)]
            for seed in SEEDS
        ]
    )


@pytest.mark.parametrize(("feel", "sd_s"), [("steady", 0.0032), ("natural", 0.0065), ("loose", 0.0121)])
def test_each_word_has_its_spread_and_all_are_nearly_pink(feel: Feel, sd_s: float) -> None:
    found = late_s(FEELS[feel])
    assert found.std() == pytest.approx(sd_s, rel=0.1)
    assert spectrum_slope(found) == pytest.approx(-0.9, abs=0.15)
    asked_s = np.hypot(FEELS[feel].together_sd_s, FEELS[feel].own_sd_s)
    assert asked_s == pytest.approx(sd_s, rel=0.02)
    assert np.abs(found).max() <= 3.0 * asked_s + 1e-12


@pytest.mark.parametrize("feel", FEELS)
def test_layers_are_coupled_and_without_coupling_they_are_not(feel: Feel) -> None:
    figures = FEELS[feel]
    apart = replace(figures, together_sd_s=0.0)
    for what, least, most in ((figures, 0.3, 1.0), (apart, -0.1, 0.1)):
        melody, strums = late_s(what), late_s(what, "strums")
        assert least < np.corrcoef(melody.ravel(), strums.ravel())[0, 1] < most


@pytest.mark.parametrize(("pulse_s", "scale"), [(0.6, 1.0), (0.3, 0.6), (0.45, 0.75), (0.9, 1.5), (2.0, 1.5)])
def test_deviations_grow_with_the_pulse(pulse_s: float, scale: float) -> None:
    assert pulse_scale(pulse_s) == pytest.approx(scale)


def test_steps_of_a_roll_differ_by_themselves() -> None:
    first, second = (
        np.array([step_deviation(seed, "verse", 1, "melody", Fraction(3), step) for seed in range(400)])
        for step in (0, 1)
    )
    assert first.std() == pytest.approx(1.0, rel=0.1)
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.15


@pytest.mark.parametrize("feel", FEELS)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_keep_the_laws_of_rolls_and_begin_after_the_file(path: object, feel: Feel) -> None:
    made = arrange(replace(read_song(str(path)), feel=feel))
    for seed in range(3):
        take = perform(made, lay_out(made, count_in_bars=0), seed=seed)
        assert roll_faults(take.notes, hurried=True) == []
        assert min(note.onset_s for note in take.notes) >= 0.0


def test_a_looser_feel_moves_the_same_places_the_same_way() -> None:
    made = {feel: arrange(replace(read_song(str(SONGS[0])), feel=feel)) for feel in FEELS}
    still = perform(
        made["steady"], lay_out(made["steady"]), dry=True
    )  # one pulse for all: each feel ends phrases its way
    late = {}
    for feel, arrangement in made.items():
        take = perform(arrangement, lay_out(arrangement), steady_pulse=True)
        late[feel] = [
            mine[-1].onset_s - exact[-1].onset_s
            for mine, exact in zip(
                gestures_of(take.notes).values(), gestures_of(still.notes).values(), strict=True
            )
        ]
    assert np.std(late["steady"]) < np.std(late["natural"]) < np.std(late["loose"])
    assert np.corrcoef(late["steady"], late["loose"])[0, 1] > 0.95
