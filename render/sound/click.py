"""The count-in's stroke: a small wooden knock, made here from two damped partials and a breath of noise."""

from __future__ import annotations

import functools
import random
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from render.perform import Click

__all__ = ["PEAK", "cue_stem", "knock"]

PEAK = 0.35
"""Largest sample of a knock, full scale being 1: no song's gain changes it. K-weighted over 400 ms that is about
−28 LUFS, level with a quiet strum of a finished track."""

LENGTH_S = 0.12
"""A knock is over after this."""

PARTIALS: tuple[tuple[float, float, float], ...] = ((1010.0, 0.070, 1.0), (2660.0, 0.032, 0.35))
"""Frequency in Hz, time to fall by 60 dB in seconds, and relative amplitude of the two partials. A struck wooden
bar sounds its second partial about 2.6 to 2.8 times above the first."""

NOISE_T60_S, NOISE_AMPLITUDE = 0.012, 0.25
"""How the stick's noise dies away, and its part."""

FIRST_OF_BAR_RATIO = 4 / 3
"""The first stroke of a bar is a fourth higher."""

ATTACK_S = 0.0015
"""The knock rises in this time, so that it holds little above 8 kHz."""


def cue_stem(clicks: Iterable[Click], length_frames: int, rate_hz: int) -> NDArray[np.float32]:
    """Return the count-in as audio.

    Parameters
    ----------
    clicks
        Strokes; those past the end are left out, the last may be cut by it.
    length_frames
        Frames of the result.
    rate_hz
        Frames a second.

    Returns
    -------
    float32 (length_frames, 2)
    """
    import numpy as np

    stem = np.zeros((length_frames, 2), np.float32)
    for click in clicks:
        start = max(0, round(click.onset_s * rate_hz))
        space = stem[start : start + round(LENGTH_S * rate_hz)]
        space += knock(click.first, rate_hz)[: len(space), None]
    return stem


@functools.cache
def knock(first: bool, rate_hz: int) -> NDArray[np.float32]:
    """Return one knock, mono float32 (frames,), at most `PEAK` high; read-only.

    Parameters
    ----------
    first
        Whether it is a bar's first, and so higher.
    rate_hz
        Frames a second, at least 16000.
    """
    import numpy as np

    time_s = np.arange(round(LENGTH_S * rate_hz)) / rate_hz
    ratio = FIRST_OF_BAR_RATIO if first else 1.0
    sound = NOISE_AMPLITUDE * _soft_noise(len(time_s), rate_hz) * 10 ** (-3 * time_s / NOISE_T60_S)
    for hertz, t60_s, amplitude in PARTIALS:
        sound += amplitude * np.sin(2 * np.pi * hertz * ratio * time_s) * 10 ** (-3 * time_s / t60_s)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.minimum(time_s / ATTACK_S, 1.0))
    fall = 0.5 + 0.5 * np.cos(np.pi * np.clip((time_s - 0.7 * LENGTH_S) / (0.3 * LENGTH_S), 0.0, 1.0))
    sound = sound * rise * fall
    knocked: NDArray[np.float32] = (sound * (PEAK / np.abs(sound).max())).astype(np.float32)
    knocked.flags.writeable = False
    return knocked


def _soft_noise(frames: int, rate_hz: int) -> NDArray[np.float64]:
    """Return noise that is the same everywhere, smoothed so that it ends near 4 kHz."""
    import numpy as np

    chance = random.Random(20)  # noqa: S311 - sound, no secret
    rough = np.array([2.0 * chance.random() - 1.0 for _ in range(frames)])
    window = np.hanning(round(rate_hz / 2000) + 2)[1:-1]
    smooth = np.convolve(rough, window, mode="same")
    return np.asarray(smooth / np.abs(smooth).max())
