"""What a plucked note is like: how loud, how bright, how it dies away, and what happens when it is struck again.

Sounds are rows of an array, (notes, frames), each struck at its first frame. Level and brightness are taken over
400 ms, the time over which a mark promises a level.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, freqz, sosfiltfilt

from tests.measure.audio import Track
from tests.measure.loudness import k_weighting
from tests.measure.pitch import cents_sharp

__all__ = [
    "cents_along",
    "decay_s",
    "end_level_db",
    "gesture_figures",
    "growth_db",
    "line_figures",
    "neighbour_correlation",
    "ring_figures",
    "treble_excess_db",
]

GESTURE_S = 0.4
EARLY_S = (0.05, 0.45)
ENVELOPE_S = 0.03
TREBLE_HZ = 5_000.0


def gesture_figures(
    sounds: NDArray[np.floating], rate_hz: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return level and brightness of the first 400 ms of each sound, (notes,) each.

    The K-weighted level in LUFS for one channel, and the centroid of the power spectrum in Hz.
    """
    frames = round(GESTURE_S * rate_hz)
    size = 2 * frames
    hertz = np.fft.rfftfreq(size, 1.0 / rate_hz)
    power = np.abs(np.fft.rfft(sounds[:, :frames], size)) ** 2
    gain = np.ones_like(hertz)
    for numerator, denominator in k_weighting(rate_hz):
        gain *= np.abs(freqz(numerator, denominator, hertz, fs=rate_hz)[1]) ** 2
    levels = -0.691 + 10.0 * np.log10(2.0 * (power @ gain) / size / frames + 1e-20)
    return np.asarray(levels), np.asarray(power @ hertz / power.sum(axis=1))


def line_figures(levels: NDArray[np.float64]) -> tuple[float, float, float, float]:
    """Return (smallest step, largest step, furthest from the straight line of best fit, last − first), in dB."""
    steps = np.diff(levels)
    places = np.arange(len(levels))
    line = np.polyval(np.polyfit(places, levels, 1), places)
    return (
        float(steps.min()),
        float(steps.max()),
        float(np.abs(levels - line).max()),
        float(levels[-1] - levels[0]),
    )


def decay_s(sound: NDArray[np.floating], rate_hz: int, start_s: float, end_s: float) -> float:
    """Return the time to fall by 60 dB, from a straight line through the level in dB between two moments.

    The level is the power under Hann windows of 30 ms.
    """
    window = np.hanning(round(ENVELOPE_S * rate_hz))
    power = fftconvolve(np.asarray(sound, np.float64) ** 2, window / window.sum(), mode="same")
    times_s = np.arange(start_s, end_s, 0.005)
    levels = 10.0 * np.log10(np.maximum(power[np.round(times_s * rate_hz).astype(int)], 1e-20))
    return float(-60.0 / np.polyfit(times_s, levels, 1)[0])


def ring_figures(sound: NDArray[np.floating], rate_hz: int) -> tuple[float, float]:
    """Return (early T60 in s, late T60 / early T60): from 50 to 450 ms, and from a half to 0.72 of the early T60."""
    early = decay_s(sound, rate_hz, *EARLY_S)
    return early, decay_s(sound, rate_hz, 0.5 * early, 0.72 * early) / early


def growth_db(sound: NDArray[np.floating], rate_hz: int, first_hz: float, partials: int = 8) -> float:
    """Return the most that any of the first partials grows again after 100 ms, in dB.

    Each partial that is within 50 dB of the strongest is followed under Hann windows of 80 ms from 100 ms on, until
    it is 40 dB below where it was then.
    """
    size, hop = round(0.08 * rate_hz), round(0.02 * rate_hz)
    window = np.hanning(size)
    starts = np.arange(round(0.1 * rate_hz), len(sound) - size, hop)
    frames = np.stack([sound[start : start + size] * window for start in starts])
    spread = np.fft.rfft(frames, 2 * size)
    bins = np.round(first_hz * np.arange(1, partials + 1) * 2 * size / rate_hz).astype(int)
    levels = 20.0 * np.log10(
        np.stack([np.abs(spread[:, place - 2 : place + 3]).max(axis=1) for place in bins], axis=1) + 1e-12
    )
    worst = 0.0
    for track in levels[:, levels[0] > levels[0].max() - 50.0].T:
        heard = track[: int(np.argmax(track < track[0] - 40.0)) or len(track)]
        worst = max(worst, float((heard - np.minimum.accumulate(heard)).max()))
    return worst


def cents_along(
    sound: NDArray[np.floating], rate_hz: int, midi: int, starts_s: tuple[float, ...], length_s: float
) -> list[float]:
    """Return how sharp a note is from each of some moments on, in cents."""
    track = Track(np.asarray(sound, np.float32)[:, None], rate_hz)
    return [cents_sharp(track, midi, start_s - 0.08, start_s + length_s) for start_s in starts_s]


def end_level_db(sound: NDArray[np.floating], rate_hz: int, end_s: float) -> float:
    """Return the peak of the 30 ms before a moment, in dB against the peak of the whole sound."""
    end = round(end_s * rate_hz)
    before = np.abs(sound[end - round(ENVELOPE_S * rate_hz) : end]).max()
    return float(20.0 * np.log10(before / np.abs(sound).max()))


def treble_excess_db(
    sound: NDArray[np.floating],
    fresh: NDArray[np.floating],
    ringing: NDArray[np.floating],
    moment: int,
    rate_hz: int,
) -> float:
    """Return how much more there is above 5 kHz in the 20 ms around a stroke than stroke and ring have by themselves.

    Parameters
    ----------
    sound, fresh, ringing
        The stroke on a string that rings, the same from silence, and the ring that nothing ends, (frames,) each.
    moment
        That frame.
    """
    high = butter(4, TREBLE_HZ, "highpass", fs=rate_hz, output="sos")
    reach = slice(moment - round(0.01 * rate_hz), moment + round(0.01 * rate_hz))
    powers = [
        float((sosfiltfilt(high, np.asarray(each, np.float64))[reach] ** 2).sum())
        for each in (sound, fresh, ringing)
    ]
    return 10.0 * math.log10(powers[0] / (powers[1] + powers[2]))


def neighbour_correlation(sounds: NDArray[np.floating], reach_frames: int = 48) -> NDArray[np.float64]:
    """Return how alike each sound is to the next, 1 being the same up to loudness, at the best delay within a reach."""
    size = 2 * sounds.shape[1]
    spectra = np.fft.rfft(sounds, size)
    norms = np.sqrt((np.asarray(sounds, np.float64) ** 2).sum(axis=1))
    together = np.fft.irfft(spectra[1:] * np.conj(spectra[:-1]), size)
    near = np.concatenate([together[:, : reach_frames + 1], together[:, -reach_frames:]], axis=1)
    return np.asarray(near.max(axis=1) / norms[1:] / norms[:-1])
