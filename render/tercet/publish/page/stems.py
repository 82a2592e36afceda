"""Stems for a page: each part of a song as one small mono MP3, packed so that any browser aligns it to the sample.

Decoders disagree about where an MP3 begins: some obey the header's count of silent frames, some don't, some add to it.
So each stem begins with a short pulse at a known place. The page looks for it in what was decoded and starts from
there: the sound is aligned by its content, whatever the decoder did.

An MP3 of silence is nearly as large as one of music. A part that rests for long is therefore stored without its rests,
as *pieces* one after the other; the page puts each where it belongs.

Pages opened from a folder can't fetch sound. A stem therefore lies in a script, as text, loaded when it is wanted.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

import numpy as np
import soundfile
from numpy.typing import NDArray

from tercet.errors import OutputError, ParameterError

__all__ = [
    "HIGHEST_KBIT_S",
    "MUSIC_FRAME",
    "PULSE_FRAME",
    "STEM_RATE_HZ",
    "Packed",
    "Piece",
    "mono",
    "packed_stem",
    "pieces_of",
    "pulse",
    "stem_script",
    "stem_text",
    "with_pulse",
]

STEM_RATE_HZ = 48_000

HIGHEST_KBIT_S = 56.0
"""No stem takes more on the whole."""

PULSE_FRAME, MUSIC_FRAME = 2_400, 9_600
"""Where the middle of the pulse lies in a stem, and where its music begins: 150 ms later, when the pulse has gone."""

PULSE_PEAK = 0.5
PULSE_HZ = 3_000.0
PULSE_WIDTH_S = 0.000_25
"""Standard deviation of the pulse's bell curve: wide enough for the encoder, narrow enough for one clear maximum."""

_QUALITIES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
"""libsndfile's levels for MP3s of variable rate, the best first. At 0.4 the sum of a song's decoded stems lies 37 dB
above what was lost, at 34 to 41 kbit/s (Harbour Lanterns); the encoder resamples at constant rates of 56 and less."""


Piece = tuple[int, int]
"""A piece of a stem: its first frame in the music, and how many frames it has."""

QUIET = 1e-6
"""What is lower than this, 120 dB under full scale, is rest."""

LONGEST_REST_FRAMES = STEM_RATE_HZ
REST_KEPT_FRAMES = 4_800
"""A longer rest is left out of a stem, but for 100 ms on either side: what the encoder smears stays in them."""


@dataclass(frozen=True, slots=True)
class Packed:
    """A stem as it is stored: the MP3, and its rate over the length of the music."""

    data: bytes
    kbit_s: float


def mono(samples: NDArray[np.float32], gain_db: float) -> NDArray[np.float32]:
    """Return a stem, float32 (frames, 2), in one channel under a gain: float32 (frames, 1)."""
    gain = np.float32(10.0 ** (gain_db / 20.0))
    return np.asarray(gain * samples.mean(axis=1, dtype=np.float32, keepdims=True), np.float32)


def pieces_of(samples: NDArray[np.float32]) -> tuple[Piece, ...]:
    """Return the pieces of a stem, float32 (frames, 1), that hold all of its sound; none where it is silent."""
    sounding = np.flatnonzero(np.abs(samples[:, 0]) > QUIET)
    if not len(sounding):
        return ()
    breaks = np.flatnonzero(np.diff(sounding) > LONGEST_REST_FRAMES)
    firsts = np.concatenate([sounding[:1], sounding[breaks + 1]])
    lasts = np.concatenate([sounding[breaks], sounding[-1:]])
    starts = np.maximum(firsts - REST_KEPT_FRAMES, 0)
    ends = np.minimum(lasts + 1 + REST_KEPT_FRAMES, len(samples))
    return tuple((int(start), int(end - start)) for start, end in zip(starts, ends, strict=True))


def pulse() -> NDArray[np.float32]:
    """Return the pulse: a bell of 3 kHz, float32 (frames,), the same forwards and backwards, its peak in the middle."""
    reach = round(5.0 * PULSE_WIDTH_S * STEM_RATE_HZ)
    times_s = np.arange(-reach, reach + 1) / STEM_RATE_HZ
    bell = np.exp(-0.5 * (times_s / PULSE_WIDTH_S) ** 2)
    return np.asarray(PULSE_PEAK * bell * np.cos(2.0 * np.pi * PULSE_HZ * times_s), np.float32)


def with_pulse(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a stem, float32 (frames, 1), after the pulse and the silence that follow it."""
    if samples.ndim != 2 or samples.shape[1] != 1:
        raise ParameterError(f"a stem of a page must have one channel (got the shape {samples.shape})")
    led = np.zeros((MUSIC_FRAME + len(samples), 1), np.float32)
    mark = pulse()
    start = PULSE_FRAME - len(mark) // 2
    led[start : start + len(mark), 0] = mark
    led[MUSIC_FRAME:] = samples
    return led


def packed_stem(samples: NDArray[np.float32]) -> Packed:
    """Encode a stem, float32 (frames, 1), as an MP3 of the best quality that keeps within `HIGHEST_KBIT_S`.

    Raises
    ------
    OutputError
        The encoder refuses, or no quality is small enough.
    """
    led = with_pulse(samples)
    for quality in _QUALITIES:
        data = _mp3(led, quality)
        kbit_s = 8e-3 * len(data) * STEM_RATE_HZ / len(led)
        if kbit_s <= HIGHEST_KBIT_S or len(led) < STEM_RATE_HZ:
            return Packed(data, kbit_s)
    raise OutputError(f"a stem needs {kbit_s:.0f} kbit/s, and a page has {HIGHEST_KBIT_S:.0f} for it")


def _mp3(led: NDArray[np.float32], quality: float) -> bytes:
    encoded = io.BytesIO()
    settings = {"bitrate_mode": "VARIABLE", "compression_level": quality}
    try:
        with soundfile.SoundFile(
            encoded, "w", STEM_RATE_HZ, 1, format="MP3", subtype="MPEG_LAYER_III", **settings
        ) as file:
            for start in range(0, len(led), 65_536):
                file.write(led[start : start + 65_536])
    except soundfile.SoundFileError as error:
        raise OutputError(f"can't encode a stem of the page as MP3: {error}") from error
    return encoded.getvalue()


def stem_text(data: bytes) -> str:
    """Return a stem as text of letters, digits, ``+``, ``/`` and ``=`` alone."""
    return base64.b64encode(data).decode("ascii")


def stem_script(name: str, data: bytes) -> bytes:
    """Return the script that hands a stem to the page. The name has letters, digits and hyphens alone."""
    if not name.replace("-", "").isalnum() or not name.isascii():
        raise ParameterError(f"a stem's name must have letters, digits and hyphens alone (got {name!r})")
    return f'Tercet.hand("{name}","{stem_text(data)}");\n'.encode("ascii")
