"""How loud and how bright a note is: the two figures that front and back are made of.

Loudness is the K-weighted level of the first 400 ms (ITU-R BS.1770-5, annex 1: the weighting's two filters, and
400 ms as the length of its block). Brightness is the centroid of the power spectrum over the same time, in Hz.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["GESTURE_S", "centroid_hz", "k_gain", "k_weighted_level_db"]

GESTURE_S = 0.4
"""The time over which a gesture's level and brightness are taken."""

QUIETEST_POWER = 1e-20


@functools.lru_cache(maxsize=16)
def k_gain(size: int, rate_hz: int) -> NDArray[np.float64]:
    """Return the power gain of the K-weighting at the bins of a real FFT of `size`, (size // 2 + 1,); read-only.

    The analogue prototypes of the Recommendation's two filters (a shelf of +4 dB above 1.68 kHz, and a high-pass at
    38 Hz) by their bilinear transform; the constants are those that give the coefficients of its tables 1 and 2 at
    48 kHz.
    """
    import numpy as np

    z = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
    k = np.tan(np.pi * 1681.974450955533 / rate_hz)
    q, high = 0.7071752369554196, 10.0 ** (3.999843853973347 / 20.0)
    middle = high**0.4996667741545416
    shelf = (
        (high + middle * k / q + k * k) + 2.0 * (k * k - high) * z + (high - middle * k / q + k * k) * z * z
    ) / ((1.0 + k / q + k * k) + 2.0 * (k * k - 1.0) * z + (1.0 - k / q + k * k) * z * z)
    k, q = np.tan(np.pi * 38.13547087602444 / rate_hz), 0.5003270373238773
    norm = 1.0 + k / q + k * k
    high_pass = (1.0 - 2.0 * z + z * z) / (
        1.0 + 2.0 * (k * k - 1.0) / norm * z + (1.0 - k / q + k * k) / norm * z * z
    )
    gain: NDArray[np.float64] = np.abs(shelf * high_pass) ** 2
    gain.flags.writeable = False
    return gain


def k_weighted_level_db(mono: NDArray[np.floating], rate_hz: int) -> float:
    """Return the K-weighted level of the first `GESTURE_S` of a sound (frames,), in LUFS for one channel."""
    import numpy as np

    frames = round(GESTURE_S * rate_hz)
    size = 2 * frames
    power = np.abs(np.fft.rfft(mono[:frames], size)) ** 2 * k_gain(size, rate_hz)
    mean = 2.0 * float(power.sum()) / size / frames
    return float(-0.691 + 10.0 * np.log10(max(mean, QUIETEST_POWER)))


def centroid_hz(mono: NDArray[np.floating], rate_hz: int) -> float:
    """Return the centroid of the power spectrum of the first `GESTURE_S` of a sound (frames,); 0 for silence."""
    import numpy as np

    frames = round(GESTURE_S * rate_hz)
    power = np.abs(np.fft.rfft(mono[:frames])) ** 2
    total = float(power.sum())
    bins_hz = np.fft.rfftfreq(min(len(mono), frames), 1.0 / rate_hz)
    return float((bins_hz * power).sum() / total) if total > 0.0 else 0.0
