"""What may be heard at all: kinds of file, and what is refused with its reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from tercet.errors import OutsideError, ParameterError, RequestError
from tercet.hearing import Recording, read_recording
from tercet.hearing.blocks import band_passed, resampled
from tercet.hearing.spectra import RATE_HZ

SECONDS = 8


def plucks(rate_hz: int) -> np.ndarray:
    """Return a pluck each half second, float32 (frames,)."""
    at = np.arange(SECONDS * rate_hz) / rate_hz
    since = at % 0.5
    return (0.3 * np.exp(-6.0 * since) * np.sin(2.0 * np.pi * 440.0 * since)).astype(np.float32)


@pytest.mark.parametrize(
    ("name", "rate_hz", "channels"),
    [
        ("a.wav", 44_100, 2),
        ("a.flac", 48_000, 1),
        ("a.mp3", 44_100, 1),
        ("a.ogg", 22_050, 2),
        ("a.opus", 48_000, 1),
        ("a.wav", 11_025, 1),
    ],
)
def test_any_kind_rate_and_number_of_channels(tmp_path: Path, name: str, rate_hz: int, channels: int) -> None:
    path = tmp_path / name
    kind = {"format": "OGG", "subtype": "OPUS"} if path.suffix == ".opus" else {}
    soundfile.write(path, np.stack([plucks(rate_hz)] * channels, axis=1), rate_hz, **kind)
    recording = read_recording(path)
    assert recording.name == "a"
    assert recording.source_hz == rate_hz
    assert recording.length_s == pytest.approx(SECONDS, abs=0.1)
    spectrum = np.abs(np.fft.rfft(recording.samples[: 6 * RATE_HZ]))
    assert np.fft.rfftfreq(6 * RATE_HZ, 1 / RATE_HZ)[int(spectrum.argmax())] == pytest.approx(440.0, abs=2.0)


def noise(rate_hz: int) -> np.ndarray:
    return (np.random.default_rng(1).standard_normal(SECONDS * rate_hz) * 0.1).astype(np.float32)


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        (np.zeros(SECONDS * 8_000), "is silent: was the right microphone chosen"),
        (noise(8_000), "holds noise and no strings"),
        (plucks(8_000)[:32_000], "is 4.0 s long: at least 5 s are needed"),
        (np.clip(plucks(8_000) * 500.0, -1.0, 1.0), "is clipped throughout"),
        (np.zeros(16 * 60 * 8_000), "is longer than 15 minutes: cut it down"),
        (np.zeros(0), "is 0.0 s long"),
    ],
)
def test_what_tells_nothing_is_refused(tmp_path: Path, samples: np.ndarray, said: str) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(path, samples, 8_000)
    with pytest.raises(RequestError, match=said):
        read_recording(path)


@pytest.mark.parametrize("content", [b"", b"RIFF", b"title: a song\n", bytes(range(256)) * 8])
def test_what_is_no_audio_file_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "take.m4a"
    path.write_bytes(content)
    with pytest.raises(
        RequestError, match=r"isn't an audio file that can be read: record again, or save it as \.wav"
    ):
        read_recording(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(OutsideError, match=r"can't be read: No such file"):
        read_recording(tmp_path / "none.wav")


@pytest.mark.parametrize(
    "samples", [np.zeros((4, 2), np.float32), np.zeros(4), np.full(4, np.nan, np.float32)]
)
def test_samples_must_be_finite_float32_of_one_axis(samples: np.ndarray) -> None:
    with pytest.raises(ParameterError, match="samples must be"):
        Recording(samples)


def test_another_rate_keeps_a_tone_and_its_time() -> None:
    rate_hz = 44_100
    at = np.arange(10 * rate_hz) / rate_hz
    tone = np.sin(2.0 * np.pi * 997.0 * at).astype(np.float32)
    made = resampled(tone, rate_hz, RATE_HZ)
    wanted = np.sin(2.0 * np.pi * 997.0 * np.arange(len(made)) / RATE_HZ)
    assert np.abs(made - wanted)[RATE_HZ:-RATE_HZ].max() < 1e-3


def test_a_band_lets_only_itself_through() -> None:
    at = np.arange(6 * RATE_HZ) / RATE_HZ
    low, inside = np.sin(2.0 * np.pi * 300.0 * at), np.sin(2.0 * np.pi * 4_000.0 * at)
    made = band_passed((low + inside).astype(np.float32), RATE_HZ, 2_200.0, 8_000.0)
    assert np.abs(made - inside)[RATE_HZ:-RATE_HZ].max() < 1e-3
