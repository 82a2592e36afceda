"""The K-weighting of Recommendation ITU-R BS.1770-5: what the ear hears of a sound, at any sample rate."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "GESTURE_S",
    "LOUDNESS_OFFSET_DB",
    "gesture_levels_lufs",
    "k_weighted_energies",
    "k_weighted_levels_lufs",
    "k_weighting_response",
]

GESTURE_S = 0.4
"""The time over which the level of one gesture is taken: a block of BS.1770-5, annex 1."""

LOUDNESS_OFFSET_DB = -0.691
"""From a K-weighted power in dB to LUFS: BS.1770-5, annex 1, equation 2."""

_Polynomial = tuple[float, float, float]
_Sections = tuple[tuple[_Polynomial, _Polynomial], ...]

_RATE_HZ = 48_000
_SECTIONS: _Sections = (
    ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585)),
    ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)),
)
"""Numerator and denominator of the shelf and of the high-pass at 48 kHz: BS.1770-5, annex 1, tables 1 and 2."""

_MOST_BLOCK_FRAMES = 100
_STEPS_AT_ONCE = 4

_FAINTEST_POWER = 1e-20
_SOUNDS_AT_ONCE = 64


def k_weighting_response(sample_rate_hz: int, length_frames: int) -> NDArray[np.complex128]:
    """Answer of the K-weighting to each frequency of a Fourier transform of that length, from 0 to half the rate."""
    import numpy as np

    delay = np.exp(-2j * np.pi * np.arange(length_frames // 2 + 1) / length_frames)
    response: NDArray[np.complex128] = np.ones_like(delay)
    for b0, b1, b2, a0, a1, a2 in _rescaled(_SECTIONS, sample_rate_hz):
        response *= (b0 + delay * (b1 + delay * b2)) / (a0 + delay * (a1 + delay * a2))
    return response


def k_weighted_energies(
    samples: NDArray[np.float32], sample_rate_hz: int, step_frames: int
) -> NDArray[np.float64]:
    """Return the sum of the squared K-weighted samples of each step, channels added; the filter starts from rest.

    What a recursive filter makes of a block of frames depends on the block and on the four numbers that the filter
    remembers when it begins. So all blocks are weighted at once by products of matrices, and only steps follow one
    another (block state-space form: C. S. Burrus, "Block Realization of Digital Filters", IEEE Transactions on Audio
    and Electroacoustics 20(4), 1972). That takes a third of the time of transforms.

    Parameters
    ----------
    samples
        Float32, (frames, channels).
    sample_rate_hz
        Frames a second.
    step_frames
        Frames of a step; the last one may be shorter.

    Returns
    -------
    float64 (steps,)
    """
    import numpy as np

    frames, channels = samples.shape
    steps = -(-frames // step_frames)
    block = max(size for size in range(1, _MOST_BLOCK_FRAMES + 1) if step_frames % size == 0)
    matrices = _block_matrices(_SECTIONS, sample_rate_hz, block, step_frames // block)
    energies = np.zeros(steps)
    state = np.zeros((channels, len(matrices.across)))
    for first in range(0, steps, _STEPS_AT_ONCE):
        given = samples[first * step_frames : (first + _STEPS_AT_ONCE) * step_frames]
        count = -(-len(given) // step_frames)
        part = np.zeros((channels, count * step_frames), np.float32)
        part[:, : len(given)] = given.T
        weighted, state = matrices.weighted(part.reshape(channels, count, -1, block), state)
        weighted.reshape(channels, -1)[:, len(given) :] = 0.0
        heard = weighted.reshape(channels, count, -1)
        energies[first : first + count] = np.einsum("csf,csf->s", heard, heard)
    return energies


@dataclass(frozen=True, slots=True)
class _BlockMatrices:
    """The K-weighting of steps of blocks of frames, as matrices that rows are multiplied by.

    Parameters
    ----------
    own
        (block, block): from a block's frames to what comes out of it.
    left
        (block, states): from a block's frames to what the filter remembers after it.
    recalled
        (states, block): from what it remembered before a block to what comes out of it.
    along
        (blocks · states, blocks · states): from what each block of a step leaves to what is remembered after each.
    entered
        (blocks, states, states): from what was remembered before a step to what is left of it before each block.
    across
        (states, states): the same, after the step.
    """

    own: NDArray[np.float32]
    left: NDArray[np.float32]
    recalled: NDArray[np.float32]
    along: NDArray[np.float64]
    entered: NDArray[np.float64]
    across: NDArray[np.float64]

    def weighted(
        self, blocks: NDArray[np.float32], state: NDArray[np.float64]
    ) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
        """Weight blocks (channels, steps, blocks, frames), and return what is remembered (channels, states)."""
        import numpy as np

        channels, steps, count, _ = blocks.shape
        states = len(self.across)
        after = (blocks @ self.left).reshape(channels, steps, -1).astype(np.float64) @ self.along
        before_step = np.empty((channels, steps, states))
        for step in range(steps):
            before_step[:, step] = state
            state = state @ self.across + after[:, step, -states:]
        before = np.einsum("csi,bij->csbj", before_step, self.entered)
        before[:, :, 1:] += after[:, :, :-states].reshape(channels, steps, count - 1, states)
        weighted = blocks @ self.own
        weighted += before.astype(np.float32) @ self.recalled
        return weighted, state


@functools.cache
def _block_matrices(sections: _Sections, sample_rate_hz: int, block: int, blocks: int) -> _BlockMatrices:
    """Return a filter of two sections at 48 kHz as steps of so many blocks of so many frames."""
    import numpy as np

    turn, taken, given, direct = _state_space(sections, sample_rate_hz)
    states = len(turn)
    powers = [np.eye(states)]
    for _ in range(block):
        powers.append(turn @ powers[-1])
    answer = [direct, *(float(given @ power @ taken) for power in powers[: block - 1])]
    own = np.zeros((block, block))
    for frame in range(block):
        own[frame, frame:] = answer[: block - frame]
    block_powers = [np.eye(states)]
    for _ in range(blocks):
        block_powers.append(block_powers[-1] @ powers[block].T)
    along = np.zeros((blocks, states, blocks, states))
    for first in range(blocks):
        for last in range(first, blocks):
            along[first, :, last] = block_powers[last - first]
    return _BlockMatrices(
        own.astype(np.float32),
        np.stack([powers[block - 1 - frame] @ taken for frame in range(block)]).astype(np.float32),
        np.stack([given @ powers[frame] for frame in range(block)], axis=1).astype(np.float32),
        along.reshape(blocks * states, -1),
        np.stack(block_powers[:blocks]),
        block_powers[blocks],
    )


def _state_space(
    sections: _Sections, sample_rate_hz: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], float]:
    """Return sections in a row as z' = A z + B x, y = C z + D x: A, B, C, D (transposed direct form II)."""
    import numpy as np

    turn, taken, given, direct = np.zeros((0, 0)), np.zeros(0), np.zeros(0), 1.0
    for b0, b1, b2, _, a1, a2 in _rescaled(sections, sample_rate_hz):
        own = np.array([[-a1, 1.0], [-a2, 0.0]])
        takes = np.array([b1 - a1 * b0, b2 - a2 * b0])
        turn = np.block([[turn, np.zeros((len(turn), 2))], [np.outer(takes, given), own]])
        taken = np.concatenate([taken, direct * takes])
        given = np.concatenate([b0 * given, [1.0, 0.0]])
        direct *= float(b0)
    return turn, taken, given, direct


def gesture_levels_lufs(
    samples: NDArray[np.float32], onsets_s: Sequence[float], sample_rate_hz: int
) -> NDArray[np.float64]:
    """Return the K-weighted level of the `GESTURE_S` from each onset on, (onsets,) in LUFS.

    Parameters
    ----------
    samples
        Float32, (frames, channels).
    onsets_s
        In any order; one that lies too near the end is moved back by as much.
    sample_rate_hz
        Frames a second.
    """
    import numpy as np

    if not onsets_s:
        return np.zeros(0)
    length = round(GESTURE_S * sample_rate_hz)
    starts = [min(round(onset_s * sample_rate_hz), len(samples) - length) for onset_s in onsets_s]
    cut = np.stack([samples[start : start + length] for start in starts])
    return k_weighted_levels_lufs(cut, sample_rate_hz)


def k_weighted_levels_lufs(sounds: NDArray[np.float32], sample_rate_hz: int) -> NDArray[np.float64]:
    """Return the K-weighted level of each of many short sounds of one length, without gates.

    The power is summed over the spectrum (Parseval), with a little silence after each sound.

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
    size = _round_size(frames)
    weight = np.abs(k_weighting_response(sample_rate_hz, size)) ** 2
    powers = [
        (np.abs(np.fft.rfft(sounds[first : first + _SOUNDS_AT_ONCE], size, axis=1)) ** 2).sum(axis=2) @ weight
        for first in range(0, len(sounds), _SOUNDS_AT_ONCE)
    ]
    power = 2.0 * np.concatenate([np.zeros(0), *powers]) / size / frames
    return np.asarray(LOUDNESS_OFFSET_DB + 10.0 * np.log10(np.maximum(power, _FAINTEST_POWER)))


def _round_size(frames: int) -> int:
    """Return the next size of 2ⁿ, 3·2ⁿ or 5·2ⁿ with room for the filter's end, quick to transform."""
    room = frames + frames // 16
    return min(factor << max((-(-room // factor) - 1).bit_length(), 0) for factor in (1, 3, 5))


def _rescaled(sections: _Sections, sample_rate_hz: int) -> NDArray[np.float64]:
    """Second-order sections (2, 6) of the K-weighting at any rate.

    The Recommendation gives coefficients at 48 kHz and asks for the same response elsewhere. The bilinear transform
    is undone with z = (1 + w)/(1 − w), w scaled by the ratio of the rates, and the transform done again.
    """
    import numpy as np

    ratio = sample_rate_hz / _RATE_HZ
    rows = []
    for section in sections:
        row = [_rescale(polynomial, ratio) for polynomial in section]
        lead = row[1][0]
        rows.append([coefficient / lead for polynomial in row for coefficient in polynomial])
    return np.array(rows)


def _rescale(polynomial: _Polynomial, ratio: float) -> _Polynomial:
    """Move a quadratic in z to a sample rate `ratio` times as high, up to a factor that all quadratics share."""
    p0, p1, p2 = polynomial
    square, linear, constant = (p0 - p1 + p2) * ratio**2, 2 * (p0 - p2) * ratio, p0 + p1 + p2
    return square + linear + constant, 2 * (constant - square), square - linear + constant
