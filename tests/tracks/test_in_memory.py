"""What Python users have of a song in memory: stems that add up to the demo, and tracks as a kit writes them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tercet.arranging import Arrangement, arrange
from tercet.errors import ParameterError, RequestError, SoundFontError
from tercet.performing import lay_out, perform
from tercet.song import LAYERS, SECOND, parse_song
from tercet.sound import Audio, Stems
from tercet.sound.soundfont_choice import Sound
from tercet.tracks.in_memory import synthesise, track
from tercet.tracks.practice_forms import TrackOptions
from tests.kits import SHORT_SONG, run_tercet


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    return arrange(parse_song(SHORT_SONG, "short.yaml"))


@pytest.fixture(scope="module")
def stems(arrangement: Arrangement) -> Stems:
    return synthesise(perform(arrangement, lay_out(arrangement)))


def read(path: Path) -> np.ndarray:
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    assert rate_hz == 48_000
    return np.asarray(samples)


def decibels(samples: np.ndarray) -> float:
    return float(20.0 * np.log10(max(np.abs(samples).max(), 1e-9)))


def test_stems_are_found_by_name(stems: Stems) -> None:
    assert list(stems) == [*(layer for layer in LAYERS if layer != SECOND), "cues"]
    assert len(stems) == 4
    for name in stems:
        assert stems[name].dtype == np.float32
        assert stems[name].shape == (stems.length_frames, 2)
        assert stems[name].any()
    with pytest.raises(KeyError, match="there is no stem 'bass': take one of melody, between, strums, cues"):
        stems["bass"]


def test_stems_add_up_to_the_demo(stems: Stems, arrangement: Arrangement, tmp_path: Path) -> None:
    """The demo is put together from clips, the stems are played in one go: they differ by less than is ever heard."""
    demo = track(arrangement, "demo")
    mix = stems.mix()
    frames = min(mix.length_frames, demo.length_frames)
    assert abs(mix.length_frames - demo.length_frames) < 48_000
    assert decibels(mix.samples[:frames] - demo.samples[:frames]) < decibels(demo.samples) - 50.0
    assert mix.loudness_lufs == pytest.approx(demo.loudness_lufs, abs=0.02)
    without = stems.mix(without=["melody"])
    alone = stems["melody"] * np.float32(10.0 ** (stems.gain_db / 20.0))
    assert np.abs(mix.samples - without.samples - alone).max() < 1e-6
    with pytest.raises(ParameterError, match=r"without must name stems out of melody, .* \(got bass\)"):
        stems.mix(without=["bass"])


def test_a_track_is_what_a_kit_writes(arrangement: Arrangement, tmp_path: Path) -> None:
    song = tmp_path / "short.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    names = ("demo", "without-melody", "echo", "turns-bars")
    run_tercet("kit", song, "-o", tmp_path, "--tracks", ",".join(names), "--formats", "wav")
    for name in names:
        (written,) = (tmp_path / "short").glob(f"*-{name}.wav")
        place = track(arrangement, name).write(tmp_path / "here" / f"{name}.wav")
        assert np.abs(read(place) - read(written)).max() <= 1.01 / 32_768


def test_a_take_of_some_bars_is_as_loud_as_in_the_song(arrangement: Arrangement, stems: Stems) -> None:
    some = synthesise(perform(arrangement, lay_out(arrangement, [0, 1], Fraction(1, 2), 0)))
    assert some.gain_db == stems.gain_db
    assert not some["cues"].any()


def test_audio_is_measured_and_written_whole(tmp_path: Path) -> None:
    time_s = np.arange(48_000 * 2) / 48_000
    wave = (0.25 * np.sin(2.0 * np.pi * 997.0 * time_s)).astype(np.float32)
    audio = Audio(np.stack([wave, wave], axis=1))
    assert (audio.length_frames, audio.length_s) == (96_000, 2.0)
    assert audio.loudness_lufs == pytest.approx(20 * np.log10(0.25), abs=0.1)
    assert audio.true_peak_dbtp == pytest.approx(20 * np.log10(0.25), abs=0.05)
    for ending in ("wav", "flac", "mp3", "ogg", "opus"):
        assert audio.write(tmp_path / f"home.{ending}") == tmp_path / f"home.{ending}"
    assert np.abs(read(tmp_path / "home.flac") - audio.samples).max() <= 0.5 / 32_768
    with pytest.raises(RequestError, match=r"has the ending \.txt"):
        audio.write(tmp_path / "home.txt")
    (tmp_path / "mine.wav").write_bytes(b"mine")
    with pytest.raises(RequestError, match="Tercet didn't make it"):
        audio.write(tmp_path / "mine.wav")
    audio.write(tmp_path / "mine.wav", replace=True)
    assert sorted(path.name for path in tmp_path.iterdir() if path.name.startswith(".")) == []


def test_what_is_too_loud_is_written_softer_and_not_cut_off(tmp_path: Path) -> None:
    time_s = np.arange(48_000) / 48_000
    wave = (3.0 * np.sin(2.0 * np.pi * 440.0 * time_s)).astype(np.float32)
    path = Audio(np.stack([wave, wave], axis=1)).write(tmp_path / "loud.wav")
    assert np.abs(read(path)).max() == pytest.approx(10.0 ** (-1.0 / 20.0), abs=0.001)


def test_audio_is_stereo() -> None:
    with pytest.raises(ParameterError, match=r"audio must have 2 channels \(got 1\)"):
        Audio(np.zeros((5, 1), np.float32))


def test_options_and_names_are_those_of_kits(arrangement: Arrangement) -> None:
    with pytest.raises(RequestError, match="there is no track ecko; did you mean echo"):
        track(arrangement, "ecko")
    slow = track(arrangement, "only-melody", options=TrackOptions(speed=Fraction(1, 2), count_in_bars=0))
    fast = track(arrangement, "only-melody", options=TrackOptions(count_in_bars=0))
    assert slow.length_s > 1.5 * fast.length_s


def test_a_sound_that_is_not_there_is_said_when_it_is_to_play(arrangement: Arrangement) -> None:
    sound = Sound("nowhere.sf2")
    with pytest.raises(SoundFontError, match=r"This program asks for the sound font «nowhere.sf2»"):
        track(arrangement, "demo", sound)
