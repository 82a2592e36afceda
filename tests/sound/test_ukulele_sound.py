"""The built-in ukulele as it is heard: every string and fret through FluidSynth, and what shows when it is wrong."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.sound import plucked, ukulele
from tercet.sound.plucked import PluckedNote, plucked_note
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS, UkeString
from tercet.sound.ukulele import ready_built_in
from tests.measure.font_player import GRID_FRAMES, RATE_HZ, Strike, notes_alone, play
from tests.measure.plucks import (
    cents_along,
    end_level_db,
    gesture_figures,
    growth_db,
    line_figures,
    ring_figures,
    treble_excess_db,
)

OPEN_STRINGS = {
    11: 69, 12: 64, 13: 60, 14: 67, 15: 55, 21: 64, 22: 59, 23: 55, 24: 50,
}  # fmt: skip
"""Bank of each string's preset, and the key of its open string."""

FRETS = range(16)
PROGRAM = 24
VELOCITIES = range(1, 128)
HELD_S = 4.1
"""Longer than any sample."""


@dataclass(frozen=True)
class StringFigures:
    """One string: level and brightness by fret and velocity, (16, 127), and each fret's ring at velocity 96."""

    levels: NDArray[np.float64]
    centroids: NDArray[np.float64]
    rings: NDArray[np.float32]


@cache
def measured(bank: int) -> StringFigures:
    """Measure a string of the font that users get, once a process."""
    path, open_midi = ready_built_in(), OPEN_STRINGS[bank]
    touched = []
    for fret in FRETS:
        notes = [(open_midi + fret, velocity) for velocity in VELOCITIES]
        touched.append(gesture_figures(notes_alone(path, bank, PROGRAM, notes, 0.41), RATE_HZ))
    held = [(open_midi + fret, 96) for fret in FRETS]
    levels, centroids = (np.stack(each) for each in zip(*touched, strict=True))
    return StringFigures(levels, centroids, notes_alone(path, bank, PROGRAM, held, HELD_S))


@pytest.mark.parametrize("bank", OPEN_STRINGS)
class TestEachString:
    def test_loudness_rises_evenly_with_velocity(self, bank: int) -> None:
        for fret, levels in enumerate(measured(bank).levels):
            smallest, largest, off_line, span = line_figures(levels)
            assert smallest >= 0.1, (fret, smallest)
            assert largest <= 0.5, (fret, largest)
            assert off_line <= 1.2, (fret, off_line)
            assert 34.0 <= span <= 38.0, (fret, span)

    def test_notes_are_alike_in_loudness_at_every_velocity(self, bank: int) -> None:
        every = measured(bank).levels
        assert np.ptp(every, axis=0).max() <= 1.5

    def test_brightness_rises_all_the_way(self, bank: int) -> None:
        for fret, centroids in enumerate(measured(bank).centroids):
            assert (np.diff(centroids) > 0).all(), fret
            assert centroids[-1] / centroids[0] >= 1.8, fret

    def test_every_fret_is_in_tune_and_stays_so(self, bank: int) -> None:
        for fret, ring in enumerate(measured(bank).rings):
            cents = cents_along(ring, RATE_HZ, OPEN_STRINGS[bank] + fret, (0.08, 0.3, 0.6), 0.3)
            assert max(map(abs, cents)) <= 0.5, (fret, cents)
            assert max(cents) - min(cents) <= 0.4, (fret, cents)

    def test_the_ring_has_two_stages_and_shortens_along_the_neck(self, bank: int) -> None:
        early, late = zip(*(ring_figures(ring, RATE_HZ) for ring in measured(bank).rings), strict=True)
        assert 1.6 <= early[0] <= 3.2, early
        assert 0.9 <= early[12] <= 2.0, early
        assert 1.2 <= min(late) <= max(late) <= 2.2, late
        assert all(after <= 1.03 * before for before, after in pairwise(early)), early
        assert all(after < before for before, after in zip(early, early[2:], strict=False)), early

    def test_no_partial_grows_again(self, bank: int) -> None:
        for fret, ring in enumerate(measured(bank).rings):
            assert growth_db(ring, RATE_HZ, 440.0 * 2.0 ** ((OPEN_STRINGS[bank] + fret - 69) / 12)) <= 0.5, (
                fret
            )

    def test_a_sample_has_died_away_before_its_fade(self, bank: int) -> None:
        for fret, ring in enumerate(measured(bank).rings):
            sounds = np.flatnonzero(np.abs(ring) > 1e-7)
            fade_s = (int(sounds[-1]) + 1) / RATE_HZ - 2 ** ((fret % 2) / -12) * plucked.FADE_S
            assert end_level_db(ring, RATE_HZ, fade_s) <= -45.0, fret
            assert int(sounds[-1]) < len(ring) - 480


def test_all_strings_together_are_even_and_answer_to_touch() -> None:
    strings = [measured(bank) for bank in OPEN_STRINGS]
    levels = np.concatenate([string.levels for string in strings])
    ratios = np.concatenate([string.centroids[:, -1] / string.centroids[:, 0] for string in strings])
    assert np.ptp(levels, axis=0).max() <= 1.5
    assert np.median(ratios) >= 2.5


def test_the_strings_differ_in_colour_at_the_same_pitch() -> None:
    path = ready_built_in()
    sounds = [notes_alone(path, bank, PROGRAM, [(69, 96)], 1.0)[0] for bank in (11, 12, 13)]
    spectra = [np.abs(np.fft.rfft(sound)) for sound in sounds]
    alike = [float(np.corrcoef(spectra[0], other)[0, 1]) for other in spectra[1:]]
    assert max(alike) < 0.999


def test_a_string_struck_again_is_down_forty_decibels_within_45_ms() -> None:
    path = ready_built_in()
    for bank, open_midi in OPEN_STRINGS.items():
        for fret in (0, 7, 15):
            end = 48 * 1024
            ring = play(path, bank, PROGRAM, [Strike(0, end, open_midi + fret, 110)], 2 * end)[:, 0]
            before = np.abs(ring[end - 1440 : end]).max()
            assert np.abs(ring[end + round(0.045 * RATE_HZ) :]).max() <= before / 100.0, (bank, fret)


def test_striking_a_ringing_string_again_does_not_click() -> None:
    path, chance = ready_built_in(), np.random.default_rng(3)
    for _ in range(36):
        bank = int(chance.choice(list(OPEN_STRINGS)))
        midi, other = (OPEN_STRINGS[bank] + int(chance.integers(0, 16)) for _ in range(2))
        loud, again = (int(chance.integers(40, 128)) for _ in range(2))
        moment = int(chance.integers(400, 1200)) * GRID_FRAMES
        second = Strike(moment, None, other, again)
        together, fresh, ringing = (
            play(path, bank, PROGRAM, strikes, moment + RATE_HZ // 2)[:, 0]
            for strikes in ([Strike(0, moment, midi, loud), second], [second], [Strike(0, None, midi, loud)])
        )
        excess = treble_excess_db(together, fresh, ringing, moment, RATE_HZ)
        assert excess <= 3.0, (bank, midi, other, loud, again, excess)


def test_four_firm_strings_leave_six_decibels_of_room() -> None:
    path = ready_built_in()
    shapes = [(67 + fret, 60 + fret, 64 + fret, 69 + fret) for fret in FRETS]
    shapes += [(55, 60, 64, 69), (50, 55, 59, 64), (67, 60, 64, 72), (69, 60, 65, 69)]
    for shape in shapes:
        strikes = [Strike(0, None, midi, 127, channel) for channel, midi in enumerate(shape)]
        sound = play(path, 8, PROGRAM, strikes, RATE_HZ // 2)
        assert np.abs(sound).max() <= 10 ** (-6.0 / 20.0), shape


def test_the_brightness_controller_darkens_and_is_open_when_untouched() -> None:
    path = ready_built_in()
    centroids = []
    for brightness in (127, 64, 40, 14, 4):
        sounds = notes_alone(path, 11, PROGRAM, [(69, 110), (76, 110)], 0.5, brightness)
        centroids.append(gesture_figures(sounds, RATE_HZ)[1])
    assert np.array_equal(centroids[0], centroids[1])
    assert (np.diff(centroids[1:], axis=0) < 0).all()
    assert (centroids[-1] < 0.9 * centroids[0]).all()


# Made wrong


def font_with(path: Path, monkeypatch: pytest.MonkeyPatch, made: object) -> Path:
    """Write a font of one string, four frets, whose notes are made by `made`."""
    monkeypatch.setattr(ukulele, "plucked_note", made)
    monkeypatch.setattr(ukulele, "STRINGS_OF_INSTRUMENTS", {"A4": STRINGS_OF_INSTRUMENTS["A4"]})
    monkeypatch.setattr(ukulele, "LAST_FRET", 2)
    monkeypatch.setattr(ukulele, "STRING_BANKS", {"A4": 11})
    monkeypatch.setattr(ukulele, "WHOLE_KEYBOARD", (("A4", 0),))
    path.write_bytes(ukulele.ukulele_bytes())
    return path


def figures_of(path: Path) -> StringFigures:
    notes = [(69, velocity) for velocity in VELOCITIES]
    levels, centroids = gesture_figures(notes_alone(path, 11, PROGRAM, notes, 0.41), RATE_HZ)
    return StringFigures(levels[None], centroids[None], notes_alone(path, 11, PROGRAM, [(69, 96)], HELD_S))


def test_a_font_of_one_string_as_it_should_be_passes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    figures = figures_of(font_with(tmp_path / "a.sf2", monkeypatch, plucked_note))
    assert abs(cents_along(figures.rings[0], RATE_HZ, 69, (0.3,), 0.3)[0]) <= 0.5
    assert figures.centroids[0, -1] / figures.centroids[0, 0] >= 1.8
    assert 1.2 <= ring_figures(figures.rings[0], RATE_HZ)[1] <= 2.2


def test_a_string_three_cents_sharp_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    @dataclass(frozen=True, slots=True)
    class Sharp(UkeString):
        def frequency_hz(self, fret: int) -> float:
            return UkeString.frequency_hz(self, fret) * 2 ** (3 / 1200)

    def sharp(string: UkeString, *rest: Any) -> PluckedNote:
        own = {field.name: getattr(string, field.name) for field in dataclasses.fields(string)}
        return plucked_note(Sharp(**own), *rest)

    figures = figures_of(font_with(tmp_path / "a.sf2", monkeypatch, sharp))
    cents = cents_along(figures.rings[0], RATE_HZ, 69, (0.08, 0.3, 0.6), 0.3)
    assert min(cents) == pytest.approx(3.0, abs=0.5)
    assert max(map(abs, cents)) > 0.5


def test_a_layer_half_as_bright_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    half = tuple((hertz, 0.5 * centroid_hz) for hertz, centroid_hz in plucked.FIRM_LINE)
    monkeypatch.setattr(plucked, "FIRM_LINE", half)
    figures = figures_of(font_with(tmp_path / "a.sf2", monkeypatch, plucked_note))
    assert figures.centroids[0, -1] / figures.centroids[0, 0] < 1.8


def test_a_loop_in_place_of_the_ring_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def looped(string: UkeString, fret: int, rate_hz: int, *rest: Any) -> PluckedNote:
        note = plucked_note(string, fret, rate_hz, *rest)
        period = round(8 * rate_hz / string.frequency_hz(fret))
        start = round(0.6 * rate_hz)

        def loop(sound: NDArray[np.float64]) -> NDArray[np.float64]:
            held = sound.copy()
            held[start:] = np.resize(sound[start : start + period], len(sound) - start)
            return held

        return PluckedNote(loop(note.soft), loop(note.firm), note.aside)

    figures = figures_of(font_with(tmp_path / "a.sf2", monkeypatch, looped))
    ring = figures.rings[0]
    assert not 1.2 <= ring_figures(ring, RATE_HZ)[1] <= 2.2
    fade_s = (int(np.flatnonzero(np.abs(ring) > 1e-7)[-1]) + 1) / RATE_HZ - plucked.FADE_S
    assert end_level_db(ring, RATE_HZ, fade_s) > -45.0
