"""The K-weighting of Recommendation ITU-R BS.1770-5: what the ear hears of a sound, at any sample rate."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "GESTURE_S",
    "LOUDNESS_OFFSET_DB",
    "KWeightedEnergies",
    "KWeightedProducts",
    "gesture_levels_lufs",
    "k_weighted_energies",
    "k_weighted_levels_lufs",
    "k_weighting_response",
    "k_weighting_sections",
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

_MOST_BLOCK_FRAMES = 48
_MOST_RUN_BLOCKS = 20
_MOST_ROW_RUNS = 40
_STEPS_AT_ONCE = 8
"""At 48 kHz, steps of 100 ms are runs of 20 blocks of 48 frames: of the divisors those that cost least."""

_FAINTEST_POWER = 1e-20
_SOUNDS_AT_ONCE = 16
_STEP_FRAMES = 5 * _MOST_BLOCK_FRAMES * _MOST_RUN_BLOCKS
_FADE_S = 0.05
"""Silence after a sound: what the filter still gives by its end lies 100 dB lower."""


def k_weighting_response(sample_rate_hz: int, length_frames: int) -> NDArray[np.complex128]:
    """Answer of the K-weighting to each frequency of a Fourier transform of that length, from 0 to half the rate."""
    delay = np.exp(-2j * np.pi * np.arange(length_frames // 2 + 1) / length_frames)
    response: NDArray[np.complex128] = np.ones_like(delay)
    for b0, b1, b2, a0, a1, a2 in _rescaled(_SECTIONS, sample_rate_hz):
        response *= (b0 + delay * (b1 + delay * b2)) / (a0 + delay * (a1 + delay * a2))
    return response


def k_weighting_sections(sample_rate_hz: int) -> list[list[float]]:
    """Return the K-weighting's second-order sections at a rate: b0, b1, b2, a0, a1, a2 of each."""
    sections: list[list[float]] = _rescaled(_SECTIONS, sample_rate_hz).tolist()
    return sections


def k_weighted_energies(
    samples: NDArray[np.float32], sample_rate_hz: int, step_frames: int
) -> NDArray[np.float64]:
    """Return the sum of the squared K-weighted samples of each step, channels added; the filter starts from rest.

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
    return KWeightedEnergies(sample_rate_hz, step_frames, samples.shape[1]).of(samples)


class KWeightedEnergies:
    """The energies of steps of K-weighted audio that comes in pieces; the filter starts from rest and goes on.

    What a recursive filter makes of a block of frames depends on the block and on the few numbers that the filter
    remembers when it begins. So all blocks are weighted at once by a product of matrices (block state-space form: C. S.
    Burrus, "Block Realization of Digital Filters", IEEE Transactions on Audio and Electroacoustics 20(4), 1972). What
    is remembered before each block is found in the same way, for runs of blocks and then for rows of runs. That takes
    a sixth of the time of transforms.

    Parameters
    ----------
    sample_rate_hz
        Frames a second.
    step_frames
        Frames of a step.
    channels
        Of the audio.
    """

    def __init__(self, sample_rate_hz: int, step_frames: int, channels: int) -> None:
        self._step_frames = step_frames
        self._filter = _blocked_filter(_SECTIONS, sample_rate_hz, step_frames)
        self._state = np.zeros((channels, self._filter.states))
        rows = channels * _STEPS_AT_ONCE * step_frames // self._filter.block
        self._taken = np.empty((rows, self._filter.block + self._filter.states), np.float32)
        self._given = np.empty((rows, self._filter.block), np.float32)

    def of(self, samples: NDArray[np.float32]) -> NDArray[np.float64]:
        """Return the energy of each step of the next samples, float32 (frames, channels), channels added.

        Only the last samples of all may end within a step.
        """
        energies = [np.vecdot(heard, heard).sum(axis=0, dtype=np.float64) for heard in self.weighted(samples)]
        return np.concatenate([np.zeros(0), *energies])

    def weighted(self, samples: NDArray[np.float32]) -> Iterator[NDArray[np.float32]]:
        """Yield the next samples weighted, some steps at a time, (channels, steps, frames of a step).

        What is yielded holds until the next; 0 where there are no samples.
        """
        at_once = _STEPS_AT_ONCE * self._step_frames
        for first in range(0, samples.shape[0], at_once):
            yield self._weighted(samples[first : first + at_once])

    def _weighted(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        channels, frames = len(self._state), samples.shape[0]
        steps = -(-frames // self._step_frames)
        filled = steps * self._step_frames
        rows = channels * filled // self._filter.block
        taken, given = self._taken[:rows], self._given[:rows]
        inside = taken.reshape(channels, -1, taken.shape[1])[:, :, : self._filter.block]
        if frames < filled:
            samples = np.pad(samples, ((0, filled - frames), (0, 0)))
        inside[:] = samples.reshape(*inside.shape[1:], channels).transpose(2, 0, 1)
        by_step = taken.reshape(channels * steps, -1, taken.shape[1])
        self._state = self._filter.recall(by_step, self._state)
        self._filter.weigh(by_step, given.reshape(channels * steps, -1, self._filter.block))
        heard = given.reshape(channels, filled)
        heard[:, frames:] = 0.0
        return heard.reshape(channels, steps, self._step_frames)


class KWeightedProducts:
    """The products of K-weighted sounds with one another, step by step: the energy of any mix of them is made of these.

    The weighting is linear. So where sounds are mixed by gains g, a step's energy is gᵀ P g with the step's products P.

    Parameters
    ----------
    sample_rate_hz, step_frames, channels
        As in `KWeightedEnergies`.
    sounds
        How many there are.
    split_frames
        So many frames at the start of each step are counted by themselves.
    """

    def __init__(
        self, sample_rate_hz: int, step_frames: int, channels: int, sounds: int, split_frames: int = 0
    ) -> None:
        self._step_frames = step_frames
        before, after = (0, slice(split_frames)), (1, slice(split_frames, None))
        self._halves = (before, after) if split_frames else (after,)
        self._each = [KWeightedEnergies(sample_rate_hz, step_frames, channels) for _ in range(sounds)]

    def of(self, sounds: Sequence[NDArray[np.float32]] | NDArray[np.float32]) -> NDArray[np.float64]:
        """Return the products of the next samples of each sound, float32 (frames, channels), channels added.

        float64 (steps, 2, sounds, sounds): of the frames before the split and from it on. Only the last samples of all
        may end within a step.
        """
        steps = -(-sounds[0].shape[0] // self._step_frames)
        products = np.zeros((steps, 2, len(self._each), len(self._each)))
        weighted = (each.weighted(sound) for each, sound in zip(self._each, sounds, strict=True))
        for first, heard in zip(range(0, steps, _STEPS_AT_ONCE), zip(*weighted, strict=True), strict=True):
            some = products[first : first + _STEPS_AT_ONCE]
            for one, other in combinations_with_replacement(range(len(heard)), 2):
                for half, frames in self._halves:
                    product = np.vecdot(heard[one][..., frames], heard[other][..., frames])
                    some[:, half, one, other] = product.sum(axis=0, dtype=np.float64)
                some[:, :, other, one] = some[:, :, one, other]
        return products


@dataclass(frozen=True, slots=True)
class _BlockedFilter:
    """A filter as matrices that rows are multiplied by; a row is a block of frames and what is remembered before it.

    Parameters
    ----------
    block, run, row
        Frames of a block, blocks of a run, runs of a row.
    states
        How many numbers are remembered.
    weighs
        (block + states, block): from a block's row to what comes out of it.
    left
        (block, states): from a block's frames to what is remembered of them after it.
    within, across
        (blocks · states, blocks · states) for the blocks of a run, the same for the runs of a row: from what each
        leaves to what is remembered after each.
    entered, entered_row
        (states, blocks · states): from what was remembered before a run to what is left of it before each block; the
        same for a row, after each run.
    """

    block: int
    run: int
    row: int
    states: int
    weighs: NDArray[np.float32]
    left: NDArray[np.float32]
    within: NDArray[np.float32]
    entered: NDArray[np.float32]
    across: NDArray[np.float64]
    entered_row: NDArray[np.float64]

    def recall(self, taken: NDArray[np.float32], state: NDArray[np.float64]) -> NDArray[np.float64]:
        """Fill in what is remembered before each block of rows (channels · steps, blocks, block + states).

        Parameters
        ----------
        taken
            Rows whose frames are there, channel by channel.
        state
            (channels, states), remembered before the first block.

        Returns
        -------
        What is remembered after the last block, (channels, states).
        """
        channels, states = state.shape
        left = taken[:, :, : self.block] @ self.left
        after = (left.reshape(len(taken), -1, self.run * states) @ self.within).reshape(-1, self.run, states)
        ends = after[:, -1].reshape(channels, -1, states).astype(np.float64)
        runs = ends.shape[1]
        before = np.empty_like(ends)
        for first in range(0, runs, self.row):
            count = min(self.row, runs - first) * states
            own = ends[:, first : first + self.row].reshape(channels, count)
            remembered = own @ self.across[:count, :count] + state @ self.entered_row[:, :count]
            before[:, first] = state
            before[:, first + 1 : first + self.row] = remembered[:, :-states].reshape(channels, -1, states)
            state = remembered[:, -states:]
        entered = before.reshape(-1, states).astype(np.float32) @ self.entered
        recalled = taken.reshape(-1, self.run, self.block + states)[:, :, self.block :]
        recalled[:] = entered.reshape(recalled.shape)
        recalled[:, 1:] += after[:, :-1]
        return state

    def weigh(self, taken: NDArray[np.float32], given: NDArray[np.float32]) -> None:
        """Put what comes out of rows, (steps, blocks, block + states), into `given` (steps, blocks, block).

        Step by step: products of larger matrices would be shared out among threads, which wait for one another longer
        than they work.
        """
        np.matmul(taken, self.weighs, out=given)


@functools.cache
def _blocked_filter(sections: _Sections, sample_rate_hz: int, step_frames: int) -> _BlockedFilter:
    """Return a filter of sections at 48 kHz for another rate, in blocks that fill steps."""
    block = _divisor(step_frames, _MOST_BLOCK_FRAMES)
    run = _divisor(step_frames // block, _MOST_RUN_BLOCKS)
    turn, taken, given, direct = _balanced(*_state_space(sections, sample_rate_hz))
    states = len(turn)
    powers = _powers(turn, block)
    answer = [direct, *(float(given @ power @ taken) for power in powers[: block - 1])]
    own = np.zeros((block, block))
    for frame in range(block):
        own[frame, frame:] = answer[: block - frame]
    recalled = np.stack([given @ powers[frame] for frame in range(block)], axis=1)
    within, run_powers = _chained(powers[block].T, run)
    across, row_powers = _chained(run_powers[run], _MOST_ROW_RUNS)
    return _BlockedFilter(
        block,
        run,
        _MOST_ROW_RUNS,
        states,
        np.concatenate([own, recalled]).astype(np.float32),
        np.stack([powers[block - 1 - frame] @ taken for frame in range(block)]).astype(np.float32),
        within.astype(np.float32),
        np.concatenate(run_powers[:run], axis=1).astype(np.float32),
        across,
        np.concatenate(row_powers[1:], axis=1),
    )


def _divisor(number: int, most: int) -> int:
    """Return the largest divisor of a number that isn't larger than `most`."""
    return max(size for size in range(1, most + 1) if number % size == 0)


def _chained(turn: NDArray[np.float64], count: int) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Return, for links each of which turns what is remembered, what the links leave after each, and the powers.

    Parameters
    ----------
    turn
        (states, states), from a row of what is remembered before a link to the row after it.
    count
        How many links.

    Returns
    -------
    (count · states, count · states) from what each leaves to what is remembered after each, and `turn` to the powers
    of 0 to `count`.
    """
    states = len(turn)
    powers = _powers(turn, count)
    chained = np.zeros((count, states, count, states))
    for first in range(count):
        for last in range(first, count):
            chained[first, :, last] = powers[last - first]
    return chained.reshape(count * states, -1), powers


def _powers(turn: NDArray[np.float64], most: int) -> list[NDArray[np.float64]]:
    """Return a square matrix to the powers of 0 to `most`."""
    powers = [np.eye(len(turn))]
    for _ in range(most):
        powers.append(powers[-1] @ turn)
    return powers


def _balanced(
    turn: NDArray[np.float64], taken: NDArray[np.float64], given: NDArray[np.float64], direct: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], float]:
    """Return the same filter, remembering numbers of one size: float32 then loses least.

    Balanced realisation (B. C. Moore, "Principal Component Analysis in Linear Systems", IEEE Transactions on Automatic
    Control 26(1), 1981): a base in which both Gramians are the same diagonal matrix. In the base of the direct form a
    double pole close to 1 makes large numbers that almost cancel.
    """
    reached, seen = _gramian(turn, taken), _gramian(turn.T, given)
    root = np.linalg.cholesky(reached)
    directions, sizes, _ = np.linalg.svd(root.T @ seen @ root)
    base = root @ directions * sizes**-0.25
    back = np.linalg.inv(base)
    return back @ turn @ base, back @ taken, given @ base, direct


def _gramian(turn: NDArray[np.float64], taken: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return X with X = A X Aᵀ + b bᵀ."""
    size = len(turn)
    known = np.outer(taken, taken).reshape(-1)
    solved = np.linalg.solve(np.eye(size * size) - np.kron(turn, turn), known)
    return np.asarray(solved.reshape(size, size), np.float64)


def _state_space(
    sections: _Sections, sample_rate_hz: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], float]:
    """Return sections in a row as z' = A z + B x, y = C z + D x: A, B, C, D (transposed direct form II)."""
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
    if not onsets_s:
        return np.zeros(0)
    length = round(GESTURE_S * sample_rate_hz)
    starts = [min(round(onset_s * sample_rate_hz), len(samples) - length) for onset_s in onsets_s]
    cut = np.stack([samples[start : start + length] for start in starts])
    return k_weighted_levels_lufs(cut, sample_rate_hz)


def k_weighted_levels_lufs(sounds: NDArray[np.float32], sample_rate_hz: int) -> NDArray[np.float64]:
    """Return the K-weighted level of each of many short sounds of one length, without gates.

    They are weighted one after the other, with so much silence after each that the filter forgets it.

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
    frames = sounds.shape[1]
    steps = -(-(frames + round(_FADE_S * sample_rate_hz)) // _STEP_FRAMES)
    in_a_row = np.zeros((_SOUNDS_AT_ONCE, steps * _STEP_FRAMES, sounds.shape[2]), np.float32)
    energies = KWeightedEnergies(sample_rate_hz, _STEP_FRAMES, sounds.shape[2])
    found = [np.zeros(0)]
    for first in range(0, len(sounds), _SOUNDS_AT_ONCE):
        some = sounds[first : first + _SOUNDS_AT_ONCE]
        in_a_row[: len(some), :frames] = some
        each = energies.of(in_a_row[: len(some)].reshape(-1, sounds.shape[2]))
        found.append(each.reshape(len(some), steps).sum(axis=1))
    power = np.concatenate(found) / max(frames, 1)
    return np.asarray(LOUDNESS_OFFSET_DB + 10.0 * np.log10(np.maximum(power, _FAINTEST_POWER)))


def _rescaled(sections: _Sections, sample_rate_hz: int) -> NDArray[np.float64]:
    """Second-order sections (2, 6) of the K-weighting at any rate.

    The Recommendation gives coefficients at 48 kHz and asks for the same response elsewhere. The bilinear transform
    is undone with z = (1 + w)/(1 − w), w scaled by the ratio of the rates, and the transform done again.
    """
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
