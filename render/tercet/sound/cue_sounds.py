"""Cues beside the music: the count-in's wooden knock and the bell that says that the turn changes.

Both are struck bodies of `tercet.sound.struck`.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from tercet.performing import Click
from tercet.sound.struck import BELL, WOOD, strike

__all__ = ["BELL_PEAK", "PEAK", "cue_stem", "knock", "turn_bell"]

PEAK = 0.35
"""Largest sample of a knock, full scale being 1: no song's gain changes it. K-weighted over 400 ms that is about
−28 LUFS, level with a quiet strum of a finished track."""

BELL_PEAK = 0.2
"""Largest sample of the bell: it rings longer, and needs less."""

FIRST_OF_BAR_RATIO = 4 / 3
"""The first stroke of a bar is a fourth higher."""


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
    stem = np.zeros((length_frames, 2), np.float32)
    for click in clicks:
        start = max(0, round(click.onset_s * rate_hz))
        space = stem[start : start + round(WOOD.length_s * rate_hz)]
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
    sound = strike(WOOD, rate_hz, FIRST_OF_BAR_RATIO if first else 1.0)
    knocked = np.asarray(PEAK * sound, np.float32)
    knocked.flags.writeable = False
    return knocked


@functools.cache
def turn_bell(rate_hz: int) -> NDArray[np.float32]:
    """Return the cue that the turn changes, mono float32 (frames,), at most `BELL_PEAK` high; read-only."""
    rung = np.asarray(BELL_PEAK * strike(BELL, rate_hz), np.float32)
    rung.flags.writeable = False
    return rung
