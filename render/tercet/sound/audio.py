"""The one shape of audio: float32, (frames, channels), finite, 48 kHz; and what checks it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tercet.errors import ParameterError

__all__ = ["SAMPLE_RATE_HZ", "check_audio", "check_shape"]

SAMPLE_RATE_HZ = 48_000
"""One sample rate everywhere: every format that Tercet writes takes it, Opus nothing else."""


def check_audio(samples: object) -> NDArray[np.float32]:
    """Return the samples unchanged if they have the one shape of audio.

    Parameters
    ----------
    samples
        Should be a numpy array of float32, shape (frames, channels), with at least one channel, all finite.

    Raises
    ------
    ParameterError
        Anything else; the message says what was got.
    """
    checked = check_shape(samples)
    if checked.size and not (np.isfinite(checked.min()) and np.isfinite(checked.max())):
        frame, channel = np.argwhere(~np.isfinite(checked))[0]
        value = checked[frame, channel]
        raise ParameterError(f"audio must be finite (got {value} in frame {frame}, channel {channel})")
    return checked


def check_shape(samples: object) -> NDArray[np.float32]:
    """Return the samples unchanged if they have the one shape of audio, finite or not; errors as `check_audio`."""
    if not isinstance(samples, np.ndarray):
        raise ParameterError(f"audio must be a numpy array (got {type(samples).__name__})")
    if samples.dtype != np.float32:
        raise ParameterError(f"audio must be float32 (got {samples.dtype})")
    if samples.ndim != 2 or samples.shape[1] < 1:
        raise ParameterError(f"audio must have the shape (frames, channels) (got {samples.shape})")
    return samples
