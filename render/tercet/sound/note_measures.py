"""What is measured of one note: when it is heard, how well in tune, how loud and bright, whether it clicks.

Fonts are cut by hand. In the fallback font a key reaches a fifth of its peak 1 to 6 ms after the stroke, and sounds 1
to 3 cents sharp; neighbours from different samples differ by as much. Both are measured, once for each key and
through the same synthesiser, and taken back: strokes come earlier and keys are retuned. So a roll keeps the distances
between its strings, and four strings are in tune with one another.

Loudness is the K-weighted level of the first 400 ms (ITU-R BS.1770-5, annex 1; the weighting's filters stand in
`k_weighting.py`), brightness the centroid of the power spectrum over the same time, in Hz.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.sound.k_weighting import GESTURE_S, LOUDNESS_OFFSET_DB, k_weighting_response

__all__ = [
    "ATTACK_WINDOW_S",
    "CLICK_RATIO",
    "PROBE_LENGTH_S",
    "KeyVoice",
    "centroid_hz",
    "cents_sharp",
    "click_ratio",
    "k_gain",
    "k_weighted_level_db",
    "key_voice",
    "onset_delay_s",
]

PROBE_LENGTH_S = 0.8
"""How long a key has to sound to be measured."""

HEARD_LEVEL = 0.2
"""A note is heard from the first sample that reaches this part of its peak (−14 dB). Detectors of the first sound
place it earlier, detectors of the steepest rise later; in the fonts measured, −20 dB and −12 dB lie within 2 ms."""

ATTACK_WINDOW_S = 0.06
"""The peak is looked for in this time after the stroke."""

LATEST_ONSET_S = 0.03
"""A sound that swells for longer has no onset to speak of and is left as it is."""

PITCH_FROM_S = 0.08
"""The attack is over and the pitch can be measured from here on."""

LARGEST_CORRECTION_CENTS = 25.0
"""A key that is further off is meant to be, and is left as it is."""

WEAKEST_FUNDAMENTAL = 0.003
"""A fundamental below this part of the strongest partial (−50 dB) isn't measured."""


@dataclass(frozen=True, slots=True)
class KeyVoice:
    """What one key of a font does.

    Parameters
    ----------
    onset_delay_s
        Time from the stroke until it is heard, at least 0.
    sharp_cents
        How far above equal temperament at A4 = 440 Hz it sounds; negative is flat.
    """

    onset_delay_s: float = 0.0
    sharp_cents: float = 0.0


def key_voice(samples: NDArray[np.float32], midi: int, rate_hz: int) -> KeyVoice:
    """Measure one key.

    Parameters
    ----------
    samples
        float32 (frames, 2), the key struck in the first frame and held for `PROBE_LENGTH_S`.
    midi
        Which key it is.
    rate_hz
        Frames a second.
    """
    mono = samples.mean(axis=1)
    return KeyVoice(onset_delay_s(mono, rate_hz), cents_sharp(mono, midi, rate_hz))


def onset_delay_s(mono: NDArray[np.float32], rate_hz: int) -> float:
    """Return when a sound (frames,) first reaches `HEARD_LEVEL` of its early peak; 0 if it never speaks or swells."""
    early = np.abs(mono[: round(ATTACK_WINDOW_S * rate_hz)])
    peak = float(early.max(initial=0.0))
    if peak == 0.0:
        return 0.0
    delay_s = int((early >= HEARD_LEVEL * peak).argmax()) / rate_hz
    return delay_s if delay_s <= LATEST_ONSET_S else 0.0


def cents_sharp(mono: NDArray[np.float32], midi: int, rate_hz: int) -> float:
    """Return how far the fundamental of a sound (frames,) is above its key, in cents, to about 0.1.

    The highest bin of a Hann-windowed, zero-padded spectrum within `LARGEST_CORRECTION_CENTS` of the key, refined by a
    parabola through the logarithms of it and its neighbours (J. O. Smith, Spectral Audio Signal Processing, 2011,
    «Quadratic Interpolation of Spectral Peaks»). 0 when there is no clear peak inside.
    """
    steady = mono[round(PITCH_FROM_S * rate_hz) :]
    if not steady.any():
        return 0.0
    size = 2 << (len(steady) - 1).bit_length()
    window = np.hanning(len(steady)).astype(np.float32)
    spectrum = np.abs(np.fft.rfft(steady * window, size)).astype(np.float64)
    wanted = 440.0 * 2.0 ** ((midi - 69) / 12) * size / rate_hz
    margin = 2.0 ** (LARGEST_CORRECTION_CENTS / 1200)
    first, last = int(wanted / margin), int(np.ceil(wanted * margin))
    peak = first + int(np.argmax(spectrum[first : last + 1]))
    if peak in (first, last) or spectrum[peak] < WEAKEST_FUNDAMENTAL * spectrum.max():
        return 0.0
    left, middle, right = np.log(spectrum[peak - 1 : peak + 2])
    exact = peak + 0.5 * (left - right) / (left - 2.0 * middle + right)
    return float(1200.0 * np.log2(exact / wanted))


# ---- how loud and how bright a note is


QUIETEST_POWER = 1e-20


@functools.lru_cache(maxsize=16)
def k_gain(size: int, rate_hz: int) -> NDArray[np.float64]:
    """Return the power gain of the K-weighting at the bins of a real FFT of `size`, (size // 2 + 1,); read-only."""
    gain: NDArray[np.float64] = np.abs(k_weighting_response(rate_hz, size)) ** 2
    gain.flags.writeable = False
    return gain


def k_weighted_level_db(mono: NDArray[np.floating], rate_hz: int) -> float:
    """Return the K-weighted level of the first `GESTURE_S` of a sound (frames,), in LUFS for one channel."""
    frames = round(GESTURE_S * rate_hz)
    size = 2 * frames
    power = np.abs(np.fft.rfft(mono[:frames], size)) ** 2 * k_gain(size, rate_hz)
    mean = 2.0 * float(power.sum()) / size / frames
    return float(LOUDNESS_OFFSET_DB + 10.0 * np.log10(max(mean, QUIETEST_POWER)))


def centroid_hz(mono: NDArray[np.floating], rate_hz: int) -> float:
    """Return the centroid of the power spectrum of the first `GESTURE_S` of a sound (frames,); 0 for silence."""
    frames = round(GESTURE_S * rate_hz)
    power = np.abs(np.fft.rfft(mono[:frames])) ** 2
    total = float(power.sum())
    bins_hz = np.fft.rfftfreq(min(len(mono), frames), 1.0 / rate_hz)
    return float((bins_hz * power).sum() / total) if total > 0.0 else 0.0


# ---- clicks: where the wave breaks off its course for a sample or two


CLICK_RATIO = 8.0
"""From here on it is a click. Measured: clean fonts stay below 4, breaks of a tenth of a note's peak give 18 to 100."""

BLOCK_S = 0.01
ATTACK_S, END_S = 0.03, 0.02
"""The stroke itself, and the end where the string is damped, don't count."""

FAINT_PART = 1e-4
"""What is softer than this part of the peak isn't heard as a click."""


def click_ratio(mono: NDArray[np.float32], rate_hz: int) -> float:
    """Return how far the sharpest bend of a sound stands out of its surroundings; 0 for silence.

    The second difference of each 10 ms, its highest value against the root mean square of the 10 ms before and after.

    Parameters
    ----------
    mono
        (frames,), from a stroke on, at least 0.1 s.
    rate_hz
        Frames a second.
    """
    block = round(BLOCK_S * rate_hz)
    inside = mono[round(ATTACK_S * rate_hz) : len(mono) - round(END_S * rate_hz)]
    bends = np.abs(np.diff(inside.astype(np.float64), 2))
    blocks = bends[: len(bends) // block * block].reshape(-1, block)
    usual = np.sqrt((blocks**2).mean(axis=1))
    beside = np.maximum(np.append(usual[1:], usual[-2]), np.insert(usual[:-1], 0, usual[1]))
    faint = FAINT_PART * float(np.abs(mono).max(initial=0.0))
    return float((blocks.max(axis=1) / np.maximum(beside, faint)).max()) if faint > 0.0 else 0.0
