"""Recordings: read from any audio file, brought to one rate and channel, or refused with the reason."""

from __future__ import annotations

import io
import math
import os
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any, BinaryIO

import numpy as np

from tercet.errors import OutsideError, ParameterError, RequestError
from tercet.hearing.blocks import resampled
from tercet.hearing.spectra import RATE_HZ, Samples, bands, powers_by_band

__all__ = ["LONGEST_S", "SHORTEST_S", "Recording", "read_recording", "recording_of_bytes"]

SHORTEST_S = 5.0
LONGEST_S = 15.0 * 60.0
"""A song is over by then; a lesson recorded whole isn't one take."""

SILENCE_DB = -75.0
"""The loudest 50 ms of a recording with a ukulele in it lie above this, against full scale."""

STEADIEST_DB = 5.0
"""In a recording of noise alone the loudest tenth of a second isn't louder than the median one by more than this, in
the band of strings."""

MOST_CLIPPED = 0.01
CLIPPED_STEPS = 20
"""Throughout: in every one of so many equal parts more than this share of the samples stands at the top."""

READ_FRAMES = 1 << 20
RATES_HZ = (4_000, 768_000)
MOST_CHANNELS = 64


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording as it is heard.

    Parameters
    ----------
    samples
        float32 (frames,), one channel at `RATE_HZ`.
    name
        What it is called: its file's name without the ending.
    source_hz
        Rate of the file: nothing is heard above half of it.

    Raises
    ------
    ParameterError
        The samples aren't finite float32 (frames,), or the rate is none.
    """

    samples: Samples = field(repr=False)
    name: str = "recording"
    source_hz: int = RATE_HZ

    def __post_init__(self) -> None:
        if self.samples.ndim != 1 or self.samples.dtype != np.float32:
            shape, kind = self.samples.shape, self.samples.dtype
            raise ParameterError(f"samples must be float32 with one axis (got {kind} {shape})")
        if not np.isfinite(self.samples).all():
            raise ParameterError("samples must be finite (got others)")
        if self.source_hz <= 0:
            raise ParameterError(f"source_hz must be above 0 (got {self.source_hz})")

    @property
    def length_s(self) -> float:
        """How long it is, in seconds."""
        return len(self.samples) / RATE_HZ


def read_recording(path: str | os.PathLike[str]) -> Recording:
    """Read a recording: any kind of file that libsndfile reads, any rate, any number of channels.

    Raises
    ------
    RequestError
        It is no audio file, shorter than 5 s or longer than 15 min, silent, noise alone, or clipped throughout.
    OutsideError
        The file can't be opened.
    """
    place = Path(path)
    try:
        with place.open("rb") as opened:
            samples, rate_hz = _read(opened, place)
    except OSError as error:
        raise OutsideError(f"{place} can't be read: {error.strerror or error}") from error
    return _recording(samples, rate_hz, place)


def recording_of_bytes(data: bytes, name: str) -> Recording:
    """Return a recording that lies in memory as its file would lie on a disk; `name` is that file's.

    Raises
    ------
    RequestError
        As `read_recording`.
    """
    place = PurePath(name or "recording")
    return _recording(*_read(io.BytesIO(data), place), place)


def _recording(samples: Samples, rate_hz: int, path: PurePath) -> Recording:
    _refuse_what_tells_nothing(samples, rate_hz, path)
    mono = resampled(samples, rate_hz, RATE_HZ)
    _refuse_noise(mono, path)
    return Recording(mono, path.stem or "recording", rate_hz)


def _read(opened: BinaryIO, path: PurePath) -> tuple[Samples, int]:
    """Return the mean of a file's channels, and its rate."""
    import soundfile

    try:
        with soundfile.SoundFile(opened) as file:
            return _mono(file, path), int(file.samplerate)
    except (soundfile.SoundFileError, ValueError, TypeError) as error:
        raise RequestError(
            f"{path} isn't an audio file that can be read: record again, or save it as .wav, .flac, .mp3, .ogg or "
            ".opus (a phone's .m4a has to be turned into one of these first)"
        ) from error


def _mono(file: Any, path: PurePath) -> Samples:
    """Return the mean of the channels of an open file, what is no number in it taken for silence."""
    rate_hz, channels = int(file.samplerate), int(file.channels)
    if not RATES_HZ[0] <= rate_hz <= RATES_HZ[1] or channels > MOST_CHANNELS:
        raise RequestError(
            f"{path} has {rate_hz} samples a second and {channels} channels: record at 44100 or 48000, in mono or "
            "stereo"
        )
    parts: list[Samples] = []
    frames = 0
    while True:
        block = file.read(READ_FRAMES, dtype="float32", always_2d=True)
        if not len(block):
            break
        parts.append(block[:, 0] if channels == 1 else block.mean(axis=1, dtype=np.float32))
        frames += len(block)
        if frames > LONGEST_S * rate_hz:
            raise RequestError(
                f"{path} is longer than {LONGEST_S / 60.0:.0f} minutes: cut it down to one playing of the song"
            )
    samples = np.concatenate(parts) if parts else np.zeros(0, np.float32)
    return np.clip(np.nan_to_num(samples, nan=0.0, posinf=1.0, neginf=-1.0), -8.0, 8.0)


def _refuse_what_tells_nothing(samples: Samples, rate_hz: int, path: PurePath) -> None:
    length_s = len(samples) / rate_hz
    if length_s < SHORTEST_S:
        raise RequestError(
            f"{path} is {length_s:.1f} s long: at least {SHORTEST_S:.0f} s are needed, better the whole song"
        )
    step = max(rate_hz // 20, 1)
    means = (samples[: len(samples) // step * step].reshape(-1, step).astype(np.float64) ** 2).mean(axis=1)
    loudest_db = 10.0 * math.log10(float(means.max()) + 1e-20)
    if loudest_db < SILENCE_DB:
        raise RequestError(f"{path} is silent: was the right microphone chosen, and was it allowed?")
    if _clipped_throughout(samples):
        raise RequestError(
            f"{path} is clipped throughout, too loud for the microphone: move away from it, or turn the input down"
        )


def _clipped_throughout(samples: Samples) -> bool:
    sizes = np.abs(samples)
    top = float(sizes.max())
    share = [float(np.mean(part > 0.995 * top)) for part in np.array_split(sizes, CLIPPED_STEPS)]
    return min(share) > MOST_CLIPPED


def _refuse_noise(samples: Samples, path: PurePath) -> None:
    """Refuse what never rises out of its own steady sound in the band of strings."""
    size, hop = 2048, 2400
    matrix = bands(size, np.array([200.0, 4_000.0]))
    level_db = 10.0 * np.log10(powers_by_band(samples, size, hop, matrix)[:, 0] + 1e-20)
    if float(np.percentile(level_db, 98) - np.median(level_db)) < STEADIEST_DB and _flat(samples):
        raise RequestError(
            f"{path} holds noise and no strings: was the microphone near the ukulele, and the room quiet enough?"
        )


def _flat(samples: Samples) -> bool:
    """Return whether no tone stands out: strings have partials 20 dB above what is between them."""
    size = 8192
    edges = np.fft.rfftfreq(size, 1.0 / RATE_HZ)
    chosen = (edges > 200.0) & (edges < 2_000.0)
    matrix = np.eye(len(edges), dtype=np.float32)[:, chosen]
    powers = powers_by_band(samples, size, size, matrix) + 1e-20
    return float(np.median(10.0 * np.log10(powers.max(axis=1) / np.median(powers, axis=1)))) < 17.0
