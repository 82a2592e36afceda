"""Clicks in a sound: where the wave breaks off its course for a sample or two."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["CLICK_RATIO", "click_ratio"]

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
