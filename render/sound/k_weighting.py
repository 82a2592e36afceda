"""The K-weighting of Recommendation ITU-R BS.1770-5: what the ear hears of a sound, at any sample rate."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["GESTURE_S", "LOUDNESS_OFFSET_DB", "k_weighted_levels_lufs", "k_weighting_response"]

GESTURE_S = 0.4
"""The time over which the level of one gesture is taken: a block of BS.1770-5, annex 1."""

LOUDNESS_OFFSET_DB = -0.691
"""From a K-weighted power in dB to LUFS: BS.1770-5, annex 1, equation 2."""

_RATE_HZ = 48_000
_SECTIONS = (
    ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585)),
    ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)),
)
"""Numerator and denominator of the shelf and of the high-pass at 48 kHz: BS.1770-5, annex 1, tables 1 and 2."""

_FAINTEST_POWER = 1e-20
_SOUNDS_AT_ONCE = 64


def k_weighting_response(sample_rate_hz: int, length_frames: int) -> NDArray[np.complex128]:
    """Answer of the K-weighting to each frequency of a Fourier transform of that length, from 0 to half the rate."""
    import numpy as np

    delay = np.exp(-2j * np.pi * np.arange(length_frames // 2 + 1) / length_frames)
    response: NDArray[np.complex128] = np.ones_like(delay)
    for b0, b1, b2, a0, a1, a2 in _sections(sample_rate_hz):
        response *= (b0 + delay * (b1 + delay * b2)) / (a0 + delay * (a1 + delay * a2))
    return response


def k_weighted_levels_lufs(sounds: NDArray[np.float32], sample_rate_hz: int) -> NDArray[np.float64]:
    """Return the K-weighted level of each of many short sounds of one length, without gates.

    The power is summed over the spectrum (Parseval), with silence after each sound up to a power of two.

    Parameters
    ----------
    sounds
        Float32, (sounds, frames, channels); left and right channels count alike.
    sample_rate_hz
        Frames a second.

    Returns
    -------
    float64 (sounds,)
        LUFS; −200.7 for silence.
    """
    import numpy as np

    frames = sounds.shape[1]
    size = 1 << (frames + frames // 4).bit_length()
    weight = np.abs(k_weighting_response(sample_rate_hz, size)) ** 2
    powers = [
        (np.abs(np.fft.rfft(sounds[first : first + _SOUNDS_AT_ONCE], size, axis=1)) ** 2).sum(axis=2) @ weight
        for first in range(0, len(sounds), _SOUNDS_AT_ONCE)
    ]
    power = 2.0 * np.concatenate([np.zeros(0), *powers]) / size / frames
    return np.asarray(LOUDNESS_OFFSET_DB + 10.0 * np.log10(np.maximum(power, _FAINTEST_POWER)))


def _sections(sample_rate_hz: int) -> NDArray[np.float64]:
    """Second-order sections (2, 6) of the K-weighting at any rate.

    The Recommendation gives coefficients at 48 kHz and asks for the same response elsewhere. The bilinear transform
    is undone with z = (1 + w)/(1 − w), w scaled by the ratio of the rates, and the transform done again.
    """
    import numpy as np

    ratio = sample_rate_hz / _RATE_HZ
    rows = []
    for section in _SECTIONS:
        row = [_rescale(polynomial, ratio) for polynomial in section]
        lead = row[1][0]
        rows.append([coefficient / lead for polynomial in row for coefficient in polynomial])
    return np.array(rows)


def _rescale(polynomial: tuple[float, float, float], ratio: float) -> tuple[float, float, float]:
    """Move a quadratic in z to a sample rate `ratio` times as high, up to a factor that all quadratics share."""
    p0, p1, p2 = polynomial
    square, linear, constant = (p0 - p1 + p2) * ratio**2, 2 * (p0 - p2) * ratio, p0 + p1 + p2
    return square + linear + constant, 2 * (constant - square), square - linear + constant
