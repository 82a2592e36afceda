"""Long audio through short responses, quickly: block by block in the frequency domain, on two processors.

Overlap-save (A. V. Oppenheim & R. W. Schafer, "Discrete-Time Signal Processing", section 8.7): each block reads the
frames before it that the response still answers to, and what wraps around is thrown away. Blocks don't depend on one
another, so they can be done in any order and give the same samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Convolution", "convolved"]

TRANSFORM_FRAMES = 5 << 14
"""Length of a Fourier transform: of 2¹⁶ to 2¹⁸ the one that costs least a frame where responses last a quarter of a
second, a sixth less than 2¹⁶."""

BLOCKS_A_TASK = 16
"""Blocks that one thread does in a row, with buffers of its own."""

THREADS = 2
"""numpy lets go of the interpreter while it transforms."""


@dataclass(frozen=True, slots=True)
class Convolution:
    """A pair of responses, ready to be applied to the mean of a stereo sound's sides.

    Parameters
    ----------
    frames
        Length of the responses, less than `TRANSFORM_FRAMES`.
    spectra
        complex64 (2, bins): left and right, times half the transform's length. The half makes a mean of a sum; the
        length is taken back by the transforms, both of which divide by it (float32 transforms of numpy 2 that divide
        are four times as fast as those that don't).
    """

    frames: int
    spectra: NDArray[np.complex64]

    @staticmethod
    def of(responses: NDArray[np.float64]) -> Convolution:
        """Return the convolution with responses (2, frames)."""
        import numpy as np

        spectra = np.fft.rfft(responses, TRANSFORM_FRAMES) * (0.5 * TRANSFORM_FRAMES)
        return Convolution(responses.shape[1], spectra.astype(np.complex64))


def convolved(
    sounds: Sequence[NDArray[np.float32]], convolutions: Sequence[Convolution]
) -> list[NDArray[np.float32]]:
    """Return each sound through its pair of responses, longer by the length of these.

    Parameters
    ----------
    sounds
        float32 (frames, 2); the mean of both sides is what sounds.
    convolutions
        One for each sound.

    Returns
    -------
    float32 (frames + response frames, 2) for each sound; exactly 0 where nothing has sounded for a block.
    """
    import numpy as np

    results = [
        np.empty((len(sound) + convolution.frames, 2), np.float32)
        for sound, convolution in zip(sounds, convolutions, strict=True)
    ]
    with ThreadPoolExecutor(max_workers=THREADS) as pool:
        tasks: list[Future[None]] = []
        for sound, convolution, result in zip(sounds, convolutions, results, strict=True):
            step = BLOCKS_A_TASK * (TRANSFORM_FRAMES - convolution.frames)
            tasks += [
                pool.submit(_fill, result, sound, convolution, first, first + step)
                for first in range(0, len(result), step)
            ]
        for task in tasks:
            task.result()
    return results


def _fill(
    result: NDArray[np.float32],
    sound: NDArray[np.float32],
    convolution: Convolution,
    first: int,
    stop: int,
) -> None:
    """Fill the frames from `first` up to `stop` of a result, block by block."""
    import numpy as np

    before = convolution.frames
    heard = np.empty(TRANSFORM_FRAMES, np.float32)
    spectrum: Any = np.empty(
        TRANSFORM_FRAMES // 2 + 1, np.complex64
    )  # numpy's types know float64 transforms alone
    product = np.empty_like(spectrum)
    answer: Any = np.empty(TRANSFORM_FRAMES, np.float32)
    for start in range(first, min(stop, len(result)), TRANSFORM_FRAMES - before):
        space = result[start : start + TRANSFORM_FRAMES - before]
        _add_sides(sound, start - before, heard)
        if not heard.any():
            space[:] = 0.0
            continue
        np.fft.rfft(heard, norm="forward", out=spectrum)
        for side in (0, 1):
            np.multiply(spectrum, convolution.spectra[side], out=product)
            np.fft.irfft(product, TRANSFORM_FRAMES, out=answer)
            space[:, side] = answer[before : before + len(space)]


def _add_sides(sound: NDArray[np.float32], start: int, heard: NDArray[np.float32]) -> None:
    """Put the sum of both sides of a sound (frames, 2), from frame `start` on, into `heard`; silence around it."""
    import numpy as np

    inside = sound[max(start, 0) : max(start + len(heard), 0)]
    offset = min(max(-start, 0), len(heard))
    heard[:offset] = 0.0
    heard[offset + len(inside) :] = 0.0
    np.add(inside[:, 0], inside[:, 1], out=heard[offset : offset + len(inside)])
