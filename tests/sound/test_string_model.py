"""The small parts of the model, each alone: circle, string, touch, body, hearing."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tercet.sound.note_measures import centroid_hz, k_gain, k_weighted_level_db
from tercet.sound.plucked import (
    firm_centroid_hz,
    plucked_note,
    ring_s,
    rings_along,
    soft_centroid_hz,
    touch_width_s,
)
from tercet.sound.string_model import (
    BODY_MODES,
    DETUNING_CENTS,
    LET_GO_S,
    SECOND_POLARISATION_T60,
    SPARE_FRAMES,
    STRINGS_OF_INSTRUMENTS,
    SYMPATHY,
    WIDEST_S,
    body_response,
    bridge_admittance,
    circle_of,
    loop_turns,
    meetings,
    partial_decays_per_s,
    partials_hz,
    pluck_place,
    pluck_transform,
    stiffness_at,
    string_loop,
    string_poles,
    t60_s,
    touch_transform,
)
from tercet.theory import TUNINGS
from tests.measure.audio import Track
from tests.measure.loudness import gesture_levels_lufs

RATE_HZ = 48_000
A4 = STRINGS_OF_INSTRUMENTS["A4"]
C4 = STRINGS_OF_INSTRUMENTS["C4"]


def points(*hertz: float) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    return np.array([2j * np.pi * each for each in hertz], np.complex128)


# The circle


def test_a_delay_of_any_length_is_exact_on_the_circle() -> None:
    circle = circle_of(4000, RATE_HZ)
    narrow = np.exp(0.5 * (circle.s * 0.0001) ** 2)
    whole = circle.samples(narrow * np.exp(-circle.s * 480 / RATE_HZ))
    half = circle.samples(narrow * np.exp(-circle.s * 480.5 / RATE_HZ))
    assert len(whole) == circle.frames - SPARE_FRAMES >= 4000
    assert np.argmax(whole) == 480
    assert half[480] == pytest.approx(half[481], rel=1e-6)
    expected = np.exp(-0.5 * ((np.arange(len(whole)) - 480) / 4.8) ** 2)
    np.testing.assert_allclose(whole, expected * whole[480], atol=1e-4 * whole[480])


def test_what_rings_longer_than_the_circle_hardly_folds_onto_its_start() -> None:
    circle = circle_of(4800, RATE_HZ)
    alpha = np.log(1000.0) / 0.2  # 30 dB down at the end
    omega = 2 * np.pi * 500.0
    late = np.exp(-circle.s * 0.01 + 0.5 * (circle.s * 0.0002) ** 2)
    sound = circle.samples(late * omega / ((circle.s + alpha) ** 2 + omega**2))
    assert np.abs(sound[:400]).max() < 10 ** (-80 / 20) * np.abs(sound).max()
    time_s = np.arange(480, len(sound)) / RATE_HZ - 0.01
    expected = np.exp(-alpha * time_s) * np.sin(omega * time_s)
    tail = slice(200, None)
    np.testing.assert_allclose(
        sound[480:][tail] / np.abs(sound).max(), expected[tail] / np.abs(expected).max(), atol=0.03
    )


# The string


def test_every_string_is_the_open_string_of_a_tuning() -> None:
    opens = {string.open_midi for string in STRINGS_OF_INSTRUMENTS.values()}
    assert opens <= {tuning.open_midi(string) for tuning in TUNINGS.values() for string in (1, 2, 3, 4)}
    assert all(name == string.name for name, string in STRINGS_OF_INSTRUMENTS.items())


@pytest.mark.parametrize("fret", [0, 7, 15])
def test_a_wave_turns_a_whole_number_of_times_at_each_partial(fret: int) -> None:
    hertz = partials_hz(C4, fret)
    turns = loop_turns(points(*hertz), C4, fret)
    np.testing.assert_allclose(turns.real, np.arange(1, len(hertz) + 1), atol=1e-9)
    assert hertz[0] == pytest.approx(C4.frequency_hz(fret))
    stretched = 1200 * np.log2(hertz[7] / (8 * hertz[0]))
    stiffness = stiffness_at(C4, fret)
    assert stretched == pytest.approx(600 * np.log2((1 + 64 * stiffness) / (1 + stiffness)), abs=1e-6)
    assert stretched > 0.1


def test_each_polarisation_is_half_the_detuning_from_the_pitch_and_dies_away_in_its_time() -> None:
    hertz = A4.frequency_hz(0)
    for sign, longer, along_top in ((1, 1.0, False), (-1, SECOND_POLARISATION_T60, True)):
        tuned = hertz * 2 ** (-sign * DETUNING_CENTS / 2 / 1200)
        s = points(tuned)
        loop = string_loop(s, loop_turns(s, A4, 0), A4, 0, bridge_admittance(s), along_top=along_top)
        assert abs(np.angle(loop[0])) < 2e-6
        assert -60 / (20 * np.log10(abs(loop[0])) * hertz) == pytest.approx(A4.t60_s * longer, rel=0.002)


def test_high_partials_and_high_frets_die_away_sooner() -> None:
    decays = partial_decays_per_s(C4, 0)
    assert (np.diff(decays) > 0).all()
    assert decays[0] == pytest.approx(np.log(1000) / C4.t60_s)
    times = [t60_s(C4, fret) for fret in range(16)]
    assert (np.diff(times) < 0).all()
    assert times[12] / times[0] == pytest.approx(2 ** (-0.078 * 12))


@pytest.mark.parametrize("fret", [0, 9])
def test_a_string_rings_at_its_poles_and_near_them_as_its_residues_say(fret: int) -> None:
    ringing = string_poles(C4, fret)
    hertz = ringing.poles.imag / (2 * np.pi)
    np.testing.assert_allclose(hertz[:8], partials_hz(C4, fret)[:8], rtol=2e-3)
    assert (np.diff(ringing.poles.real[6:]) < 0).all()
    near = ringing.poles[:20] + 3.0
    loop = string_loop(near, loop_turns(near, C4, fret), C4, fret, bridge_admittance(near))
    np.testing.assert_allclose(1.0 / (1.0 - loop), ringing.residues[:20] / 3.0, rtol=0.02)


def test_strings_meet_where_they_have_a_partial_in_common() -> None:
    assert np.argwhere(meetings(A4, 3, C4, 0)).tolist() == [[0, 1], [1, 3], [2, 5], [3, 7]]
    assert not meetings(A4, 2, C4, 0).any()


def test_an_open_string_rings_lightly_where_partials_meet_and_swells_as_an_integral_of_the_note() -> None:
    """Against the transfer function itself, transformed back on the circle, for the partials that meet."""
    ring = rings_along(A4, 3, C4, 0, RATE_HZ)
    circle = circle_of(3 * RATE_HZ, RATE_HZ)
    s = circle.s
    admittance = bridge_admittance(s)
    loops = [string_loop(s, loop_turns(s, *each), *each, admittance) for each in ((A4, 3), (C4, 0))]
    widths = [
        touch_width_s(A4, 3, hertz(A4.frequency_hz(3))) for hertz in (soft_centroid_hz, firm_centroid_hz)
    ]
    force = pluck_transform(s, loop_turns(s, A4, 3), pluck_place(A4.pluck_place, 3), A4.frequency_hz(3))
    heard = [force * body_response(s) * touch_transform(s, width) / (1.0 - loops[0]) for width in widths]
    levels = [k_weighted_level_db(circle.samples(each), RATE_HZ) for each in heard]
    both = sum(each * 10 ** ((-25.4 - level) / 20) for each, level in zip(heard, levels, strict=True))
    exact = circle.samples(both * SYMPATHY / (1.0 - loops[1]))[: len(ring)]
    early = slice(RATE_HZ // 5, RATE_HZ)
    assert np.std(ring[early] - exact[early]) < 0.12 * np.std(exact[early])
    note = plucked_note(A4, 3, RATE_HZ)
    below_db = 20 * np.log10(np.std(ring[early]) / np.std((note.soft + note.firm)[early]))
    assert -40 < below_db < -24


# The touch


def test_a_pluck_leaves_out_the_partials_that_have_a_node_under_the_thumb() -> None:
    s = points(*(100.0 * number for number in range(1, 9)))
    turns = np.arange(1, 9).astype(np.complex128)
    force = np.abs(pluck_transform(s, turns, 0.25, 100.0))
    assert force[3] < 1e-12
    assert force[7] < 1e-12
    assert force[0] > 0.9
    assert [pluck_place(0.2, fret) for fret in (0, 15)] == [0.2, 0.23]
    assert pluck_place(0.15, 12) == pytest.approx(0.15 * 2**0.35)


def test_a_touch_is_a_low_pass_without_a_phase_of_its_own() -> None:
    s = points(0.0, 200.0, 1000.0, 4000.0)
    soft, firm = touch_transform(s, WIDEST_S), touch_transform(s, 0.00005)
    np.testing.assert_allclose((soft / firm).imag, 0.0, atol=1e-12)
    assert abs(soft[0]) == abs(firm[0]) == 1.0
    assert abs(soft[2]) < 1e-9
    assert abs(firm[3]) == pytest.approx(np.exp(-((2 * np.pi * 4000 * 0.00005) ** 2) / 2))
    assert np.angle(firm[1]) == pytest.approx(-2 * np.pi * 200 * LET_GO_S)


# The body


def test_a_body_has_a_peak_at_each_mode_and_no_hole_between() -> None:
    hertz = np.arange(180.0, 6000.0, 2.0)
    response = 20 * np.log10(np.abs(body_response(points(*hertz))))
    for mode_hz, _, _ in BODY_MODES[1:]:
        near = np.abs(hertz - mode_hz) < 0.08 * mode_hz
        highest = hertz[near][np.argmax(response[near])]
        assert highest == pytest.approx(mode_hz, rel=0.05)
    octave = np.array([response[(hertz >= each) & (hertz < 1.5 * each)] for each in (400.0,)])
    assert np.ptp(octave) < 6.0
    assert response[0] < response[hertz == 500.0][0] - 3


def test_the_bridge_takes_most_energy_at_the_modes() -> None:
    at_mode, between = bridge_admittance(points(392.0, 330.0))
    assert at_mode.real > 1.5 * between.real
    assert bridge_admittance(points(0.001))[0] == pytest.approx(0.0, abs=1e-4)


# What is heard


def test_level_and_centroid_agree_with_independent_measures() -> None:
    chance = np.random.default_rng(5)
    noise = 0.1 * chance.standard_normal(30_000)
    track = Track(noise[:, None].astype(np.float32), RATE_HZ)
    witness = gesture_levels_lufs(track, [0.0])[0]
    assert k_weighted_level_db(noise, RATE_HZ) == pytest.approx(witness, abs=0.02)
    time_s = np.arange(30_000) / RATE_HZ
    tones = np.sin(2 * np.pi * 500 * time_s) + 0.5 * np.sin(2 * np.pi * 1500 * time_s)
    assert centroid_hz(tones, RATE_HZ) == pytest.approx((500 + 0.25 * 1500) / 1.25, rel=1e-4)
    assert centroid_hz(np.zeros(30_000), RATE_HZ) == 0.0
    assert k_gain(48_000, RATE_HZ)[[20, 1000, 4000]] == pytest.approx([0.047, 1.17, 2.49], rel=0.03)


# The note


@pytest.mark.parametrize(("name", "fret"), [("A4", 0), ("C4", 9), ("baritone D3", 4)])
def test_a_note_is_equally_loud_in_both_touches_and_as_bright_as_it_was_voiced(name: str, fret: int) -> None:
    string = STRINGS_OF_INSTRUMENTS[name]
    note = plucked_note(string, fret, RATE_HZ)
    hertz = string.frequency_hz(fret)
    assert len(note.soft) == len(note.firm) >= ring_s(string, fret) * RATE_HZ
    levels = [k_weighted_level_db(sound, RATE_HZ) for sound in (note.soft, note.firm)]
    assert levels == pytest.approx([-25.4, -25.4], abs=0.01)
    assert centroid_hz(note.firm, RATE_HZ) == pytest.approx(firm_centroid_hz(hertz), rel=0.1)
    assert soft_centroid_hz(hertz) == pytest.approx(1.012 * hertz)
    assert centroid_hz(note.soft, RATE_HZ) < 0.45 * centroid_hz(note.firm, RATE_HZ)
    assert not note.soft[-1:].any()
    assert np.sum(note.soft * note.firm) > 0


def test_a_softer_touch_is_wider_and_an_impossible_brightness_gives_the_nearest() -> None:
    widths = [touch_width_s(A4, 0, hertz) for hertz in (500.0, 900.0, 1300.0)]
    assert widths == sorted(widths, reverse=True)
    assert touch_width_s(A4, 0, 100.0) == pytest.approx(WIDEST_S, rel=1e-3)


def test_a_string_with_other_losses_rings_otherwise() -> None:
    dull = dataclasses.replace(A4, loss_db_per_s_khz2=40.0)
    late = slice(9600, 28_800)
    bright = [centroid_hz(plucked_note(string, 0, RATE_HZ).firm[late], RATE_HZ) for string in (dull, A4)]
    assert bright[0] < 0.8 * bright[1]
