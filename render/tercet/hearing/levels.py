"""Levels that survive a phone: how loud each stroke is, without noise, ringing and what an automatic gain does.

A level is K-weighted (ITU-R BS.1770-5) over the 400 ms from a stroke's first string on, as marks are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tercet.hearing.spectra import RATE_HZ, FloatArray, Samples, bands
from tercet.sound.k_weighting import GESTURE_S, k_weighting_response

__all__ = ["GainTrack", "LevelMeter", "gain_track", "level_meter"]

WINDOW_FRAMES, HOP_FRAMES = 2048, 240
HOP_S = HOP_FRAMES / RATE_HZ
FRAMES_AT_ONCE = 256
"""So few that their spectra stay in the processor's cache."""

BANDS_HZ = (120.0, 8_000.0)
BANDS_AN_OCTAVE = 12

NOISE_HZ = (5_000.0, 9_500.0)
"""Strings die here within tenths of a second: what stays is the room's own noise, and its level tells the gain."""

NOISE_PART = 25.0
"""Percentile over the bins of that band: below the partials that still sound."""

BEFORE_S = 0.045
DECAY_DB_A_S = 20.0
"""How fast strings die away; what rang before goes on so."""

NOISE_MARGIN = 1.15
SHORTEST_STEPS = 4


@dataclass(frozen=True)
class LevelMeter:
    """A recording's K-weighted powers by band, and its treble noise, every 10 ms."""

    powers: FloatArray
    noise_db: FloatArray

    def levels_db(
        self, firsts_s: Sequence[float], gain: GainTrack | None = None, *, subtract: bool = True
    ) -> FloatArray:
        """Return the level of each stroke in dB; `firsts_s` says when their first strings are struck, in order.

        Parameters
        ----------
        firsts_s
            In seconds.
        gain
            What is undone.
        subtract
            Whether noise and what rings from before are taken out.
        """
        powers = self.powers
        if gain is not None:
            steps_s = np.arange(len(powers), dtype=np.float64) * HOP_S
            powers = np.asarray(powers * 10.0 ** (-gain.at(steps_s)[:, None] / 10.0))
        noise = _noise(powers)
        if not subtract:
            noise = np.zeros_like(noise)
        following = [*firsts_s[1:], np.inf]
        return np.array(
            [
                _level_db(powers, noise, first, after, subtract=subtract)
                for first, after in zip(firsts_s, following, strict=True)
            ]
        )

    def over_noise_db(self, levels_db: FloatArray) -> float:
        """Return how far the median of levels lies above the noise, in dB; 60 where there is hardly any."""
        noise_db = 10.0 * np.log10(_noise(self.powers).sum() + 1e-14)
        return float(min(np.median(levels_db) - noise_db, 60.0)) if len(levels_db) else 0.0


def _noise(powers: FloatArray) -> FloatArray:
    count = len(powers) // 8
    if not count:
        return np.zeros(powers.shape[1])
    means = powers[: count * 8].reshape(count, 8, -1).mean(axis=1)
    return np.asarray(np.percentile(means, 8, axis=0) * NOISE_MARGIN)


def _level_db(
    powers: FloatArray, noise: FloatArray, first_s: float, next_s: float, *, subtract: bool
) -> float:
    full = round(GESTURE_S / HOP_S)
    start = round(first_s / HOP_S)
    end = start + full
    if np.isfinite(next_s):
        end = min(end, max(round((next_s - BEFORE_S) / HOP_S), start + SHORTEST_STEPS))
    part = powers[start:end]
    if not len(part):
        return -np.inf
    if subtract:
        before = round((first_s - BEFORE_S) / HOP_S)
        ringing = np.maximum(powers[max(before - 1, 0) : max(before, 0) + 1].mean(axis=0) - noise, 0.0)
        since_s = (np.arange(start, start + len(part)) - before) * HOP_S
        part = np.maximum(part - noise - ringing * 10.0 ** (-DECAY_DB_A_S * since_s / 10.0)[:, None], 0.0)
    falling = DECAY_DB_A_S * np.log(10.0) / 10.0 * HOP_S
    extended = (1.0 - np.exp(-falling * full)) / (1.0 - np.exp(-falling * len(part)))
    return float(10.0 * np.log10(part.sum() * extended / full + 1e-14))


def level_meter(samples: Samples) -> LevelMeter:
    """Return the meter of a recording."""
    response = k_weighting_response(RATE_HZ, WINDOW_FRAMES)
    weights = np.abs(response) ** 2
    octaves = np.log2(BANDS_HZ[1] / BANDS_HZ[0])
    edges = np.geomspace(*BANDS_HZ, round(octaves * BANDS_AN_OCTAVE) + 1)
    matrix = bands(WINDOW_FRAMES, edges, weights)
    hz = np.fft.rfftfreq(WINDOW_FRAMES, 1.0 / RATE_HZ)
    inside = np.flatnonzero((hz > NOISE_HZ[0]) & (hz < NOISE_HZ[1]))
    treble = slice(inside[0], inside[-1] + 1)
    rank = int(len(inside) * NOISE_PART / 100.0)
    padded = np.pad(samples, (WINDOW_FRAMES // 2, WINDOW_FRAMES))
    windows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW_FRAMES)[::HOP_FRAMES]
    windows = windows[: len(samples) // HOP_FRAMES + 1]
    shape = np.hanning(WINDOW_FRAMES).astype(np.float32)
    by_band, noises = [], []
    for first in range(0, len(windows), FRAMES_AT_ONCE):
        turned = np.fft.rfft(windows[first : first + FRAMES_AT_ONCE] * shape, axis=1)
        power = turned.real**2 + turned.imag**2
        by_band.append((power @ matrix).astype(np.float64))
        noises.append(np.partition(power[:, treble], rank, axis=1)[:, rank].astype(np.float64))
    noise_db = 10.0 * np.log10(np.concatenate(noises) + 1e-14)
    smooth = np.convolve(np.pad(noise_db, 2, "edge"), np.full(5, 0.2), "valid")
    return LevelMeter(np.concatenate(by_band), smooth)


# ---- automatic gain, as the room's own noise tells it

FROM_S, TO_S = 0.07, 0.06
"""A pluck covers the noise: it is looked for from so long after a stroke's last string up to so long before the next
stroke."""

FEWEST_STEPS = 3
STEP_S = 0.05
TURNED_DOWN_S = 0.025
"""A control turns down within so long after a stroke's last string, its loudest; till then the gain is as it was."""

HELD_S = 0.005
SETTLED_S = 0.4
SPREAD_WITH_GAIN_DB = 3.0
"""The noise between strokes spreads by 0.8 to 1.2 dB where nothing turns it up and down, by 5 to 13 dB where something
does."""

FAINTEST_DB = -70.0
"""Of a bin of the treble, in the units of a window's power: below, a coder or a gate has left nothing."""

FEWEST = 8


@dataclass(frozen=True)
class GainTrack:
    """The gain that the room's noise tells, in dB around the loudest, at some times; and how far it spreads.

    `gated` says whether there is hardly any noise.
    """

    times_s: FloatArray
    gains_db: FloatArray
    spread_db: float
    gated: bool

    @property
    def controlled(self) -> bool:
        """Whether something turned the gain up and down."""
        return not self.gated and self.spread_db > SPREAD_WITH_GAIN_DB

    def at(self, times_s: FloatArray) -> FloatArray:
        """Return the gain at some times."""
        return np.asarray(np.interp(times_s, self.times_s, self.gains_db))


def gain_track(meter: LevelMeter, firsts_s: Sequence[float], lasts_s: Sequence[float]) -> GainTrack:
    """Return the gain from the noise between strokes, whose first and last strings are struck at these times.

    Between two strokes a control only turns up, and what a pluck leaves in the treble only adds to the noise: so the
    gain is the least noise from a time on to the next stroke. It turns down with a stroke's last string.
    """
    noise_db = meter.noise_db
    step = round(STEP_S / HOP_S)
    times: list[float] = []
    found: list[float] = []
    settled: list[float] = []
    for last, after in zip(lasts_s, [*firsts_s[1:], len(noise_db) * HOP_S], strict=True):
        low = int((last + FROM_S) / HOP_S)
        high = max(int((after - TO_S) / HOP_S), low)
        least = np.minimum.accumulate(noise_db[low:high][::-1])[::-1].tolist()
        if len(least) < FEWEST_STEPS:
            continue
        if times:
            times.append(last - HELD_S)
            found.append(found[-1])
        places = [*range(0, len(least) - 1, step), len(least) - 1]
        times += [last + TURNED_DOWN_S, *((low + place) * HOP_S for place in places)]
        found += [least[0], *(least[place] for place in places)]
        settled.append(float(noise_db[low : min(high, low + round(SETTLED_S / HOP_S))].min()))
    if len(settled) < FEWEST:
        return GainTrack(np.zeros(1), np.zeros(1), 0.0, gated=True)
    gains = np.array(found)
    low_db, high_db = np.percentile(settled, (10, 90))
    gated = bool(low_db < FAINTEST_DB)
    return GainTrack(np.array(times), gains - np.percentile(gains, 98), float(high_db - low_db), gated)
