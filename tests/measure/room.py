"""What a room does to a sound: how long it rings, on which side a player is heard, how it colours.

Responses are what a room answers to one impulse: float, (frames, 2), the impulse in the first frame.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import welch

__all__ = ["decay_s", "left_over_right_db", "room_over_direct_db", "third_octave_changes_db"]

DIRECT_S = 0.002
"""What comes within this time of the impulse is taken for the direct sound."""

LOWEST_BAND_HZ, BANDS = 100.0, 21
"""Third-octave bands from 100 Hz to 10 kHz."""

Floats = NDArray[np.floating[Any]]


def decay_s(response: Floats, rate_hz: int) -> float:
    """Return the time in which what follows the direct sound falls by 60 dB.

    Backward integration (M. R. Schroeder, "New Method of Measuring Reverberation Time", JASA 37, 1965), a line through
    the fall from −5 to −25 dB, as ISO 3382-2 takes it for T20.
    """
    room = response[round(DIRECT_S * rate_hz) :].astype(float)
    left = np.cumsum((room**2).sum(axis=1)[::-1])[::-1]
    fall_db = 10.0 * np.log10(np.maximum(left / left[0], 1e-12))
    inside = (fall_db <= -5.0) & (fall_db >= -25.0)
    slope_db_s, _ = np.polyfit(np.flatnonzero(inside) / rate_hz, fall_db[inside], 1)
    return float(-60.0 / slope_db_s)


def left_over_right_db(samples: Floats) -> float:
    """Return how much louder the left side is than the right."""
    left, right = (samples.astype(float) ** 2).sum(axis=0)
    return float(10.0 * np.log10(left / right))


def room_over_direct_db(response: Floats, rate_hz: int) -> float:
    """Return the energy of all that follows the direct sound against that of the direct sound."""
    energy = (response.astype(float) ** 2).sum(axis=1)
    border = round(DIRECT_S * rate_hz)
    return float(10.0 * np.log10(energy[border:].sum() / energy[:border].sum()))


def third_octave_changes_db(changed: Floats, plain: Floats, rate_hz: int) -> Floats:
    """Return by how much each third-octave band of a mono sound (frames,) changed, in dB, from 100 Hz to 10 kHz."""
    hertz, before = welch(plain.astype(float), rate_hz, nperseg=8192)
    _, after = welch(changed.astype(float), rate_hz, nperseg=8192)
    changes = []
    for band in range(BANDS):
        centre_hz = LOWEST_BAND_HZ * 2.0 ** (band / 3)
        inside = (hertz >= centre_hz * 2.0 ** (-1 / 6)) & (hertz < centre_hz * 2.0 ** (1 / 6))
        changes.append(10.0 * np.log10(after[inside].sum() / before[inside].sum()))
    return np.array(changes)
