"""The sampler: levels and onsets exact, strings damped without a click, the same bytes with and without a cache."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.caches import Cache
from tercet.performing import Click
from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ, STEM_NAMES, Synthesiser
from tercet.sound.audio import check_audio
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.note_measures import CLICK_RATIO, click_ratio
from tercet.sound.players import player_of
from tercet.sound.sampler import MF_LUFS, BuiltInUkulele, UkuleleSampler
from tercet.sound.schedule import Touch
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.stems import LevelSynthesiser
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS
from tercet.sound.string_samples import samples_identity, string_sample, touch_amplitudes
from tercet.sound.struck import cue_stem
from tercet.sound.ukulele import SPAN_DB, ready_built_in
from tests.measure.audio import Track
from tests.measure.loudness import gesture_levels_lufs
from tests.sound.takes import busy_take, level_db, note, take

PLACES = [(1, 69, 0), (2, 64, 7), (3, 60, 2), (4, 67, 12), (4, 55, 3)]
"""String, its open key, and a fret."""


@pytest.fixture
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A cache in which nothing is yet, and nothing in memory."""
    monkeypatch.setenv("TERCET_CACHE", str(tmp_path))
    string_sample.cache_clear()
    yield tmp_path
    string_sample.cache_clear()


def struck(
    synthesiser: Synthesiser,
    string: int,
    open_midi: int,
    fret: int,
    level: float = 0.0,
    layer: Layer = "melody",
) -> NDArray[np.float32]:
    """Return one held note from 0.1 s on, float32 (frames, 2)."""
    one = dataclasses.replace(note(0.1, 2.0, open_midi + fret, string, layer), fret=fret, level_db=level)
    return synthesiser.stems(take([one], 2.0), (layer,)).by_name[layer]


def test_it_plays_the_built_in_ukulele_and_fluidsynth_plays_fonts() -> None:
    assert isinstance(player_of(BuiltInUkulele()), LevelSynthesiser)
    font = player_of(SoundFont(Path("a.sf2"), 8, 24))
    assert isinstance(font, FluidSynthesiser)
    assert not isinstance(font, LevelSynthesiser)


def test_stems_have_the_one_shape_and_hold_what_is_asked_for() -> None:
    played = take([note()], 1.0, [Click(0.0, True), Click(0.4, False)])
    stems = UkuleleSampler().stems(played).by_name
    assert set(stems) == set(STEM_NAMES)
    for samples in stems.values():
        assert check_audio(samples).shape == (120_000, 2)
        assert np.array_equal(samples[:, 0], samples[:, 1])
    assert np.array_equal(stems["cues"], cue_stem(played.clicks, 120_000, SAMPLE_RATE_HZ))
    assert stems["melody"].any()
    assert not stems["between"].any()
    assert set(UkuleleSampler().stems(played, ["strums"]).by_name) == {"strums"}
    assert not UkuleleSampler().stems(take([], 0.0), ["melody"]).by_name["melody"].any()


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("level", [-30.0, -16.0, -4.0, 0.0, 8.0, 12.0, 15.0])
def test_a_note_is_as_loud_as_its_level_says(layer: Layer, level: float) -> None:
    for string, open_midi, fret in PLACES:
        sound = struck(UkuleleSampler(), string, open_midi, fret, level, layer)
        (measured,) = gesture_levels_lufs(Track(sound, SAMPLE_RATE_HZ), [0.1])
        assert measured == pytest.approx(MF_LUFS + level, abs=0.05), (string, fret)


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("level", [-16.0, 0.0, 10.0])
def test_a_note_is_heard_on_its_frame_wherever_that_lies(layer: Layer, level: float) -> None:
    for (string, open_midi, fret), frame in zip(PLACES, (4800, 4801, 4831, 4832, 4863), strict=True):
        one = dataclasses.replace(
            note(frame / SAMPLE_RATE_HZ, 1.0, open_midi + fret, string, layer), fret=fret, level_db=level
        )
        mono = np.abs(UkuleleSampler().stems(take([one], 1.0), [layer]).by_name[layer][:, 0])
        peak = mono[: frame + 2880].max()
        assert abs(int(np.argmax(mono >= 0.2 * peak)) - frame) <= 2, (string, fret, frame)


def test_a_later_take_is_the_same_take_later_to_the_frame() -> None:
    early, late = (
        UkuleleSampler().stems(
            take([note(at / SAMPLE_RATE_HZ, 0.3), note((at + 14_501) / SAMPLE_RATE_HZ, 0.2, 71)], 2.0),
            ["melody"],
        )["melody"]
        for at in (5000, 5037)
    )
    end = round(1.5 * SAMPLE_RATE_HZ)
    assert np.array_equal(early[:end], late[37 : end + 37])


def test_layers_are_the_same_whatever_is_asked_for_beside_them_and_twice() -> None:
    played = busy_take(4.0, 80)
    together, again = UkuleleSampler().stems(played), UkuleleSampler().stems(played)
    for layer in LAYERS:
        assert together[layer].tobytes() == again[layer].tobytes()
        assert together[layer].tobytes() == UkuleleSampler().stems(played, [layer])[layer].tobytes()


def test_a_sample_that_is_kept_is_the_one_that_was_made(own_cache: Path) -> None:
    played = busy_take(2.0, 40)
    made = UkuleleSampler().stems(played)
    kept = sorted(path for path in own_cache.rglob("*") if path.is_file())
    assert len(kept) >= 10
    string_sample.cache_clear()
    found = UkuleleSampler().stems(played)
    assert all(made[layer].tobytes() == found[layer].tobytes() for layer in LAYERS)
    assert sorted(path for path in own_cache.rglob("*") if path.is_file()) == kept, "nothing was made again"
    kept[0].write_bytes(kept[0].read_bytes()[:-2])
    string_sample.cache_clear()
    mended = UkuleleSampler().stems(played)
    assert all(made[layer].tobytes() == mended[layer].tobytes() for layer in LAYERS)


def test_without_a_cache_that_can_be_written_it_plays_all_the_same(
    own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (own_cache / "file").touch()
    monkeypatch.setattr(Cache, "of_user", lambda _kind: Cache(own_cache / "file" / "strings"))
    assert UkuleleSampler().stems(take([note()]), ["melody"])["melody"].any()


def test_only_what_is_played_is_made(own_cache: Path) -> None:
    UkuleleSampler().stems(take([note()]), ["melody"])
    assert len([path for path in own_cache.rglob("*") if path.is_file()]) == 1


def test_a_damped_string_falls_by_40_db_in_31_ms_without_a_click() -> None:
    one = dataclasses.replace(note(0.1, 0.5, 70), level_db=10.0)  # no open string has a partial of it
    melody = UkuleleSampler().stems(take([one], 2.0), ["melody"])["melody"]
    assert level_db(melody, 0.631, 0.632) < level_db(melody, 0.59, 0.6) - 36.0
    assert not melody[round(0.68 * SAMPLE_RATE_HZ) :].any()
    assert click_ratio(melody[4800:33_600, 0], SAMPLE_RATE_HZ) < CLICK_RATIO


@pytest.mark.parametrize("layer", LAYERS)
def test_it_sounds_as_the_font_does_through_fluidsynth(layer: Layer, monkeypatch: pytest.MonkeyPatch) -> None:
    """On frets that the font samples itself, plucked in one place, which is all that a font has.

    FluidSynth begins on its grid, so the best place within it counts.
    """
    monkeypatch.setattr("tercet.sound.schedule.touch_of", lambda _note: Touch(0.8, 0.0, 0.0))
    font = FluidSynthesiser(SoundFont(ready_built_in(), 8, 24))
    for string, open_midi, fret in ((1, 69, 0), (3, 60, 2), (2, 64, 12)):
        ours, theirs = (
            struck(player, string, open_midi, fret, 2.0, layer)[4000:52_000, 0].astype(float)
            for player in (UkuleleSampler(), font)
        )
        size = 1 << 17
        spectra = np.fft.rfft(ours, size), np.fft.rfft(theirs, size)
        together = np.fft.irfft(spectra[0] * spectra[1].conj(), size).max()
        assert together / np.sqrt((ours**2).sum() * (theirs**2).sum()) > 0.998, (string, fret)


def test_the_touches_are_crossfaded_and_fall_together() -> None:
    softest, firmest = touch_amplitudes(1), touch_amplitudes(127)
    assert softest[0] > 20 * softest[1]
    assert firmest[1] > 20 * firmest[0]
    assert 20 * np.log10(firmest[1] / softest[0]) == pytest.approx(SPAN_DB * 126 / 128, abs=0.2)
    levels = [string_sample("C4", 3, 0).level_lufs(velocity) for velocity in range(1, 128)]
    assert np.diff(levels).min() > 0.1
    assert np.diff(levels).max() < 0.5


def test_its_identity_changes_with_the_model(monkeypatch: pytest.MonkeyPatch) -> None:
    before = UkuleleSampler().identity()
    samples_identity.cache_clear()
    monkeypatch.setattr("tercet.sound.plucked.THUD", 0.03)
    assert UkuleleSampler().identity() != before
    samples_identity.cache_clear()


def test_every_modelled_string_has_samples_below_and_above_its_own_frets() -> None:
    for name in STRINGS_OF_INSTRUMENTS:
        for fret in (-5, 24):
            sample = string_sample(name, fret, 0)
            assert np.isfinite(sample.touches).all()
            assert sample.level_lufs(90) > -60.0
