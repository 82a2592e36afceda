"""What wood, hand and the other strings add to a plucked note: knock, beating, resonance, the place of the pluck.

Sounds are single notes from a rendered file, (frames,), each struck near its first frame.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import curve_fit
from scipy.signal import butter, sosfiltfilt

from tests.measure.plucks import gesture_figures

__all__ = ["beats_db", "knock_figures", "partial_levels_db", "unexplained_db"]

KNOCK_HZ = (150.0, 300.0)
KNOCK_S, KNOCK_FALL_DB, KNOCK_SMOOTH_S = 0.06, 20.0, 0.004
BEAT_FROM_S, BEAT_TO_S, BEAT_STEP_S = 0.1, 1.3, 0.01
PARTIALS = 8


def knock_figures(sound: NDArray[np.floating], rate_hz: int) -> tuple[float, float]:
    """Return the knock of the body under a note whose fundamental lies above it: (dB, s).

    The energy between 150 and 300 Hz in the first 60 ms against all of that time, and how long it takes from its
    highest to fall by 20 dB.
    """
    early = np.asarray(sound[: round(KNOCK_S * rate_hz)], np.float64)
    power = np.abs(np.fft.rfft(early, 1 << 15)) ** 2
    hertz = np.fft.rfftfreq(1 << 15, 1.0 / rate_hz)
    inside = (hertz >= KNOCK_HZ[0]) & (hertz <= KNOCK_HZ[1])
    band = butter(4, KNOCK_HZ, "bandpass", fs=rate_hz, output="sos")
    low = sosfiltfilt(band, np.concatenate([np.zeros(rate_hz // 10), np.asarray(sound, np.float64)]))
    window = np.hanning(round(KNOCK_SMOOTH_S * rate_hz) * 2 + 1)
    level = np.sqrt(np.convolve(low**2, window / window.sum(), mode="same"))
    top = int(level[: rate_hz // 5].argmax())
    fallen = np.flatnonzero(level[top:] <= level[top] * 10.0 ** (-KNOCK_FALL_DB / 20.0))
    took_s = float(fallen[0]) / rate_hz if len(fallen) else float("inf")
    return float(10.0 * np.log10(power[inside].sum() / power.sum())), took_s


def beats_db(
    sound: NDArray[np.floating], rate_hz: int, first_hz: float, partials: int = 4
) -> NDArray[np.float64]:
    """Return how much each of the first partials beats, in dB from lowest to highest, (partials,).

    Its level from 0.1 to 1.3 s, or until it is 25 dB down, against the sum of two exponentials that fits it best.
    """
    size = 1 << (len(sound) - 1).bit_length()
    spectrum = np.fft.fft(np.asarray(sound, np.float64), size)
    hertz = np.fft.fftfreq(size, 1.0 / rate_hz)
    found = []
    for number in range(1, partials + 1):
        near = np.exp(-0.5 * ((hertz - number * first_hz) / (0.12 * first_hz)) ** 2) * (hertz > 0)
        envelope = np.abs(np.fft.ifft(spectrum * near))
        times_s = np.arange(BEAT_FROM_S, BEAT_TO_S, BEAT_STEP_S)
        levels = 20.0 * np.log10(envelope[np.round(times_s * rate_hz).astype(int)] + 1e-12)
        heard = levels > levels[0] - 25.0
        found.append(_off_two_falls_db(times_s[heard], levels[heard]))
    return np.array(found)


def _off_two_falls_db(times_s: NDArray[np.float64], levels_db: NDArray[np.float64]) -> float:
    def falls(
        time_s: NDArray[np.float64], top: float, fall: float, part: float, slower: float
    ) -> NDArray[np.float64]:
        quick = np.exp(-fall * time_s) + part * np.exp(-fall * time_s / (1.0 + slower))
        return np.asarray(top + 20.0 * np.log10(quick))

    slope = -np.polyfit(times_s, levels_db, 1)[0] / 8.686
    highest = (levels_db.max() + 20.0, 5.0 * slope, 1.0, 10.0)
    left = []
    for part in (0.02, 0.1, 0.4):
        start = (levels_db[0], slope, part, 1.5)
        found, _ = curve_fit(
            falls,
            times_s,
            levels_db,
            start,
            bounds=((levels_db.min(), 0.2 * slope, 0.0, 0.0), highest),
            max_nfev=5000,
        )
        left.append(levels_db - falls(times_s, *found))
    return float(np.ptp(min(left, key=np.std)))


def partial_levels_db(
    sound: NDArray[np.floating], rate_hz: int, hertz: NDArray[np.float64], start_s: float, length_s: float
) -> NDArray[np.float64]:
    """Return the level of partials in a stretch under a Hann window, (partials,), 0 dB being a sine of full scale."""
    frames = round(length_s * rate_hz)
    piece = np.asarray(sound[round(start_s * rate_hz) :][:frames], np.float64) * np.hanning(frames)
    spectrum = np.abs(np.fft.rfft(piece, 4 * frames)) * 4.0 / frames
    reach = round(6.0 * 4 * frames / rate_hz)
    places = np.round(hertz * 4 * frames / rate_hz).astype(int)
    return np.array(
        [20.0 * np.log10(spectrum[max(at - reach, 0) : at + reach].max() + 1e-12) for at in places]
    )


def unexplained_db(sounds: NDArray[np.floating], rate_hz: int, first_hz: float) -> float:
    """Return by how much strokes of one note differ beyond their brightness, in dB of standard deviation.

    The levels of the first eight partials in each of `sounds`, (strokes, frames), over 0.25 s. What a straight line
    over the strokes' centroids foretells is taken away from each partial.
    """
    hertz = np.asarray(first_hz * np.arange(1, PARTIALS + 1), np.float64)
    levels = np.stack([partial_levels_db(sound, rate_hz, hertz, 0.005, 0.25) for sound in sounds])
    levels -= levels.mean(axis=1, keepdims=True)
    bright = np.log(gesture_figures(sounds, rate_hz)[1])
    left = [column - np.polyval(np.polyfit(bright, column, 1), bright) for column in levels.T]
    return float(np.sqrt(np.mean(np.square(left)) * len(sounds) / (len(sounds) - 2)))
