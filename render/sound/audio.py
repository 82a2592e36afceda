"""The one shape of audio: float32, (frames, channels), finite; and the one function that checks it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from render.errors import ParameterError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["check_audio"]


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
    import numpy as np

    if not isinstance(samples, np.ndarray):
        raise ParameterError(f"audio must be a numpy array (got {type(samples).__name__})")
    if samples.dtype != np.float32:
        raise ParameterError(f"audio must be float32 (got {samples.dtype})")
    if samples.ndim != 2 or samples.shape[1] < 1:
        raise ParameterError(f"audio must have the shape (frames, channels) (got {samples.shape})")
    if not np.isfinite(samples).all():
        frame, channel = np.argwhere(~np.isfinite(samples))[0]
        value = samples[frame, channel]
        raise ParameterError(f"audio must be finite (got {value} in frame {frame}, channel {channel})")
    return samples
