"""Long audio through short responses, quickly: block by block in the frequency domain, on two processors.

Overlap-save (A. V. Oppenheim & R. W. Schafer, "Discrete-Time Signal Processing", section 8.7): each block reads the
frames before it that the response still answers to, and what wraps around is thrown away. Blocks don't depend on one
another, so they can be done in any order and give the same samples.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["THREADS", "Convolution", "convolved"]

TRANSFORM_FRAMES = 3 << 14
"""Length of a Fourier transform: of 2¹⁵ to 2¹⁷ the one that costs least a frame where responses last a quarter of a
second and several blocks are transformed together."""

BLOCKS_AT_ONCE = 8
"""Blocks that are transformed together, which takes a third less than one by one; one thread has them."""

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
        spectra = np.fft.rfft(responses, TRANSFORM_FRAMES) * (0.5 * TRANSFORM_FRAMES)
        return Convolution(responses.shape[1], spectra.astype(np.complex64))


def convolved(
    sounds: Sequence[NDArray[np.float32]], convolutions: Sequence[Convolution], threads: int = THREADS
) -> list[NDArray[np.float32]]:
    """Return each sound through its pair of responses, longer by the length of these.

    Parameters
    ----------
    sounds
        float32 (frames, 2); the mean of both sides is what sounds.
    convolutions
        One for each sound.
    threads
        How many work on it; however many, the samples are the same.

    Returns
    -------
    float32 (frames + response frames, 2) for each sound; exactly 0 where nothing has sounded for a block.
    """
    results = [
        np.empty((len(sound) + convolution.frames, 2), np.float32)
        for sound, convolution in zip(sounds, convolutions, strict=True)
    ]
    tasks = [
        (result, sound, convolution, first)
        for sound, convolution, result in zip(sounds, convolutions, results, strict=True)
        for first in range(0, len(result), BLOCKS_AT_ONCE * (TRANSFORM_FRAMES - convolution.frames))
    ]
    shares = [tasks[number::threads] for number in range(threads)]
    if threads == 1:
        _fill(shares[0])
    else:
        with ThreadPoolExecutor(max_workers=threads) as pool:
            for done in [pool.submit(_fill, share) for share in shares]:
                done.result()
    return results


_Task = tuple["NDArray[np.float32]", "NDArray[np.float32]", Convolution, int]
"""A result, its sound, its responses, and the first frame of the blocks that are to be filled."""


def _fill(tasks: Sequence[_Task]) -> None:
    """Fill blocks of results, `BLOCKS_AT_ONCE` for each task."""
    heard, spectra, products, answers = _scratch()
    for result, sound, convolution, first in tasks:
        before, step = convolution.frames, TRANSFORM_FRAMES - convolution.frames
        starts: list[int] = []
        for start in range(first, min(first + BLOCKS_AT_ONCE * step, len(result)), step):
            block = heard[len(starts)]
            _add_sides(sound, start - before, block)
            if block.any():
                starts.append(start)
            else:
                result[start : start + step] = 0.0
        count = len(starts)
        np.fft.rfft(heard[:count, None], norm="forward", out=spectra[:count])
        np.multiply(spectra[:count], convolution.spectra, out=products[:count])
        np.fft.irfft(products[:count], TRANSFORM_FRAMES, out=answers[:count])
        for start, answer in zip(starts, answers, strict=False):
            space = result[start : start + step]
            for side in (0, 1):
                space[:, side] = answer[side, before : before + len(space)]


_own = threading.local()


def _scratch() -> tuple[NDArray[np.float32], Any, Any, Any]:
    """Return memory for what is heard, its spectra, products and answers; a thread uses its own again and again.

    New memory costs a tenth of a convolution: the system clears it page by page.
    """
    if not hasattr(_own, "scratch"):
        bins = TRANSFORM_FRAMES // 2 + 1
        _own.scratch = (
            np.empty((BLOCKS_AT_ONCE, TRANSFORM_FRAMES), np.float32),
            np.empty((BLOCKS_AT_ONCE, 1, bins), np.complex64),
            np.empty((BLOCKS_AT_ONCE, 2, bins), np.complex64),
            np.empty((BLOCKS_AT_ONCE, 2, TRANSFORM_FRAMES), np.float32),
        )
    scratch: tuple[NDArray[np.float32], Any, Any, Any] = _own.scratch
    return scratch


def _add_sides(sound: NDArray[np.float32], start: int, heard: NDArray[np.float32]) -> None:
    """Put the sum of both sides of a sound (frames, 2), from frame `start` on, into `heard`; silence around it."""
    inside = sound[max(start, 0) : max(start + len(heard), 0)]
    offset = min(max(-start, 0), len(heard))
    heard[:offset] = 0.0
    heard[offset + len(inside) :] = 0.0
    np.add(inside[:, 0], inside[:, 1], out=heard[offset : offset + len(inside)])
