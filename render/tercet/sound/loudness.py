"""How loud audio is, and how high its wave reaches.

Two measures of Recommendation ITU-R BS.1770-5: *loudness* in LUFS (K-weighted, gated) and *true peak* in dBTP (the
height of the waveform between the samples too). Audio is float32, shape (frames, channels), one or two channels,
full scale ±1. Silence measures minus infinity; no function here returns NaN.

Why not a library: pyloudnorm 0.2.0 (MIT) took 0.5 to 1.0 s on 180 s of stereo where this module takes 0.3 s, and 1.4 s
before that to import scipy.signal: more than a song's tracks take to be mixed and written. Its default weighting has
other coefficients than the Recommendation (0.04 LU off on plucked strings), and it has no true peak. The tests use
it, with the right coefficients, as an independent witness.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tercet.errors import ParameterError
from tercet.sound.audio import check_audio
from tercet.sound.k_weighting import LOUDNESS_OFFSET_DB, KWeightedProducts, k_weighted_energies

__all__ = [
    "AROUND_FRAMES",
    "PEAK_BLOCK_FRAMES",
    "TARGET_LUFS",
    "Meter",
    "MixMeter",
    "Mixes",
    "Peak",
    "block_heights",
    "decibels",
    "integrated_loudness_lufs",
    "loudness_lufs",
    "mixed",
    "part_peaks",
    "plain_loudness_lufs",
    "step_energies",
    "step_frames_of",
    "true_peak_dbtp",
]

TARGET_LUFS = -16.0
"""Integrated loudness of a song's demo: what web and phone players commonly align to."""

_ABSOLUTE_GATE_LUFS = -70.0
_RELATIVE_GATE_LU = -10.0
_STEP_S = 0.1
_STEPS_A_BLOCK = 4
"""A gating block lasts 400 ms and begins every 100 ms: BS.1770-5, annex 1."""

_OVERSAMPLING = 8
_HALF_TAPS = 16
_KAISER_BETA = 7.0
PEAK_BLOCK_FRAMES = 256
"""Frames of a block that is looked at for a peak as a whole; more than the interpolation reaches."""

AROUND_FRAMES = 2 * PEAK_BLOCK_FRAMES
"""Frames before and after a piece that a peak in it may depend on."""

_ROUNDING_MARGIN = 1 + 1e-6


def integrated_loudness_lufs(samples: NDArray[np.float32], sample_rate_hz: int) -> float:
    """Return the integrated loudness of a whole programme.

    Mean K-weighted power of the 400 ms blocks, one every 100 ms, that pass two gates: louder than −70 LUFS, and than
    10 LU below the loudness of those (ITU-R BS.1770-5, annex 1). A block that isn't whole at the end doesn't count;
    audio shorter than one block is measured as if silence followed.

    Parameters
    ----------
    samples
        Float32, (frames, 1 or 2).
    sample_rate_hz
        Frames a second, 8000 to 192 000.

    Returns
    -------
    float
        LUFS; minus infinity when nothing passes the gates.

    Raises
    ------
    ParameterError
        If the samples aren't finite audio of 1 or 2 channels, or the rate is out of range.
    """
    _check_measurable(samples)
    return _gated_loudness_lufs(step_energies(samples, sample_rate_hz), samples.shape[0], sample_rate_hz)


def _gated_loudness_lufs(energies: NDArray[np.float64], frames: int, sample_rate_hz: int) -> float:
    """Return the integrated loudness of a programme from the energies of its steps of 100 ms.

    Parameters
    ----------
    energies
        As `step_energies` gives them.
    frames
        Of the whole programme; a last step that isn't whole doesn't count.
    sample_rate_hz
        Frames a second.

    Returns
    -------
    float
        LUFS; minus infinity when nothing passes the gates.
    """
    step_frames = step_frames_of(sample_rate_hz)
    whole = frames // step_frames
    power = energies[:whole] / step_frames if whole >= _STEPS_A_BLOCK else energies / step_frames
    power = np.pad(power, (0, max(_STEPS_A_BLOCK - len(power), 0)))
    block = np.lib.stride_tricks.sliding_window_view(power, _STEPS_A_BLOCK).mean(axis=1)
    gated = block[block >= _power(_ABSOLUTE_GATE_LUFS)]
    if not len(gated):
        return -math.inf
    gated = gated[gated > gated.mean() * 10 ** (_RELATIVE_GATE_LU / 10)]
    return _lufs(float(gated.mean()))


def loudness_lufs(energies: NDArray[np.float64], frames: int, sample_rate_hz: int) -> float:
    """Return the integrated loudness of a programme, or what it is without gates where it is too quiet for them.

    Parameters as for `_gated_loudness_lufs`; minus infinity for silence.
    """
    lufs = _gated_loudness_lufs(energies, frames, sample_rate_hz)
    return plain_loudness_lufs(energies, frames) if lufs == -math.inf and frames else lufs


def plain_loudness_lufs(energies: NDArray[np.float64], frames: int) -> float:
    """Return the loudness of a programme without gates, from the energies of its steps; minus infinity for silence.

    Parameters
    ----------
    energies
        As `step_energies` gives them.
    frames
        Of the whole programme.
    """
    return _lufs(float(energies.sum()) / max(frames, 1))


def true_peak_dbtp(samples: NDArray[np.float32], known_dbtp: float = -math.inf) -> float:
    """Return the height of the waveform, also between the samples.

    Eightfold oversampling with a windowed sinc of 32 taps a phase, flat to 21 kHz at 48 kHz: at most 0.12 dB are
    missed at 20 kHz, 0.01 dB at 5 kHz (ITU-R BS.1770-5, annex 2, asks for fourfold and shorter). The result equals
    that of oversampling everything, but only blocks that could hold the peak are oversampled: the wave can't pass the
    block's highest sample times a constant of the filter, nor rise above it by more than another constant times the
    block's steepest step.

    Parameters
    ----------
    samples
        Float32, (frames, 1 or 2).
    known_dbtp
        A height that was found elsewhere; what can't pass it isn't looked at.

    Returns
    -------
    float
        dBTP: decibels against full scale, 0 when the wave just reaches ±1; minus infinity for silence; at least
        `known_dbtp`.

    Raises
    ------
    ParameterError
        If the samples aren't finite audio of 1 or 2 channels.
    """
    _check_measurable(samples)
    known = Peak(10 ** (known_dbtp / 20))
    return max(decibels(part_peaks((samples,), ((0,),), 0, samples.shape[0], (known,))[0].height), known_dbtp)


Mixes = Sequence[Sequence[int]]
"""Mixes of some sounds, each by the numbers of those that are heard in it."""


@dataclass(frozen=True, slots=True)
class Peak:
    """A true peak: its height, 1 for full scale, and the frame at which the block begins that it is in."""

    height: float = 0.0
    frame: int = 0


def part_peaks(
    sounds: Sequence[NDArray[np.float32]] | NDArray[np.float32],
    mixes: Mixes,
    start: int,
    stop: int,
    known: Sequence[Peak],
) -> list[Peak]:
    """Return the peak of some mixes over some frames, those around them being what they are.

    Parameters
    ----------
    sounds
        Float32, (frames, 1 or 2), of one length; silence comes before and after.
    mixes
        Which of the sounds are heard together.
    start, stop
        From which frame up to which; a block of `PEAK_BLOCK_FRAMES` more at the end may be looked at. What begins
        behind the first frame needs as many before it.
    known
        For each mix a peak that was found elsewhere; what can't pass it isn't looked at.

    Returns
    -------
    list of Peak
        For each mix; that which was known if it isn't passed.
    """
    reach = _interpolator()[1]
    length = sounds[0].shape[0]
    first = start if start > 0 else -PEAK_BLOCK_FRAMES
    last = stop if stop < length else stop + PEAK_BLOCK_FRAMES
    frames = np.arange(first, last, PEAK_BLOCK_FRAMES)
    each = [_highest_of_blocks(sound, first - PEAK_BLOCK_FRAMES, len(frames) + 2) for sound in sounds]
    peaks, likely = list(known), np.zeros((len(mixes), len(frames)), np.bool_)
    for place, mix in enumerate(mixes):
        own = sum((each[number] for number in mix[1:]), each[mix[0]])
        if len(mix) == 1:
            peaks[place] = _higher(peaks[place], own[1:-1], frames)
        heights = np.maximum(np.maximum(own[:-2], own[1:-1]), own[2:])
        likely[place] = heights * (reach * _ROUNDING_MARGIN) > peaks[place].height
    some = likely.any(axis=0)
    if some.any():
        frames, likely = frames[some], likely[:, some]
        around = [_around(sound, frames) for sound in sounds]
        bounds = [_bounds(one) for one in around]
        for place, mix in enumerate(mixes):
            bound = sum((bounds[number] for number in mix[1:]), bounds[mix[0]])
            inside = likely[place] & (bound > peaks[place].height)
            if inside.any():
                heard = mixed([one[inside] for one in around], mix)
                own = bound[inside] if len(mix) == 1 else _bounds(heard)
                peaks[place] = _highest_wave(heard, own, frames[inside], peaks[place])
    return peaks


def _higher(known: Peak, heights: NDArray[np.float64], frames: NDArray[np.int_]) -> Peak:
    """Return the highest of a peak and of the samples of blocks."""
    place = int(heights.argmax())
    return Peak(float(heights[place]), int(frames[place])) if heights[place] > known.height else known


def mixed(
    sounds: Sequence[NDArray[np.float32]] | NDArray[np.float32], mix: Sequence[int]
) -> NDArray[np.float32]:
    """Return some of several sounds added up, by their numbers."""
    total = sounds[mix[0]]
    for number in mix[1:]:
        total = total + sounds[number]
    return total


def _check_measurable(samples: NDArray[np.float32]) -> None:
    """Check the shape of audio, and that the channels are left and right, or one: others would need weights."""
    if check_audio(samples).shape[1] > 2:
        raise ParameterError(f"audio to measure must have 1 or 2 channels (got {samples.shape[1]})")


def _lufs(power: float) -> float:
    """Loudness of a K-weighted mean square, summed over channels: BS.1770-5, annex 1, equation 2."""
    return LOUDNESS_OFFSET_DB + 10 * math.log10(power) if power > 0 else -math.inf


def _power(loudness_lufs: float) -> float:
    """Inverse of `_lufs`."""
    return float(10 ** ((loudness_lufs - LOUDNESS_OFFSET_DB) / 10))


def decibels(amplitude: float) -> float:
    """Return an amplitude in dB against 1; minus infinity for 0."""
    return 20 * math.log10(amplitude) if amplitude > 0 else -math.inf


def step_frames_of(sample_rate_hz: int) -> int:
    """Frames of 100 ms."""
    if not 8_000 <= sample_rate_hz <= 192_000:
        raise ParameterError(f"sample rate must be 8000 to 192000 Hz (got {sample_rate_hz})")
    return round(sample_rate_hz * _STEP_S)


def step_energies(samples: NDArray[np.float32], sample_rate_hz: int) -> NDArray[np.float64]:
    """Sum of the squared K-weighted samples of each 100 ms, channels added; the last may be shorter."""
    return k_weighted_energies(samples, sample_rate_hz, step_frames_of(sample_rate_hz))


@functools.cache
def _interpolator() -> tuple[NDArray[np.float64], float, float]:
    """Taps (reach, phase) of the oversampling filter, the last frame's first, and how far a wave can rise.

    A Kaiser-windowed sinc with zeros at the other samples, so samples pass unchanged. Each phase is scaled to pass a
    constant exactly. The second value returned is the largest sum of a phase's magnitudes: what samples of 1 can become
    at most. An interpolated value is also one of the two samples beside it plus a weighted sum of the steps
    from sample to sample within reach; the weights are partial sums of the phase. The third value is the
    largest sum of the weights' magnitudes, over all phases: the most that a step of 1 can add.
    """
    offset = np.arange(-_HALF_TAPS * _OVERSAMPLING, _HALF_TAPS * _OVERSAMPLING) / _OVERSAMPLING
    window = np.kaiser(len(offset) + 1, _KAISER_BETA)[:-1]
    phases = (np.sinc(offset) * window).reshape(-1, _OVERSAMPLING)
    phases /= phases.sum(axis=0)
    partial = np.cumsum(phases, axis=0)
    from_neighbours = [
        np.abs(partial[:split]).sum(axis=0) + np.abs(1 - partial[split:]).sum(axis=0)
        for split in (_HALF_TAPS - 1, _HALF_TAPS)
    ]
    backwards = np.ascontiguousarray(phases[::-1])
    return backwards, float(np.abs(phases).sum(axis=0).max()), float(np.minimum(*from_neighbours).max())


def _highest_wave(
    around: NDArray[np.float32], bounds: NDArray[np.float64], frames: NDArray[np.int_], known: Peak
) -> Peak:
    """Return a peak, or that of the wave in some blocks, given as by `_around`, if it is higher."""
    peak = known
    for place in np.argsort(-bounds, kind="stable"):
        if bounds[place] <= peak.height:
            break
        height = _block_peak(around[place])
        if height > peak.height:
            peak = Peak(height, int(frames[place]))
    return peak


def _bounds(around: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return for each block, given as by `_around`, a height that the interpolated wave in it can't pass."""
    return (_highest(around) + _interpolator()[2] * _steepest(around)) * _ROUNDING_MARGIN


def _windows(flat: NDArray[Any], length: int) -> NDArray[Any]:
    """Return all stretches of a length, (stretches, length), uncopied; numpy's own way takes 50 µs to find them."""
    return np.ndarray((len(flat) - length + 1, length), flat.dtype, flat, 0, flat.strides * 2)


def _highest(around: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the highest magnitude of each of some excerpts (excerpts, frames, channels)."""
    flat = around.reshape(len(around), math.prod(around.shape[1:]))
    highest: NDArray[np.float64] = np.maximum(flat.max(axis=1), -flat.min(axis=1)).astype(np.float64)
    return highest


def _steepest(around: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the highest step from sample to sample in each of some excerpts (excerpts, frames, channels)."""
    with np.errstate(over="ignore"):
        return _highest(around[:, 1:] - around[:, :-1])


def _around(samples: NDArray[np.float32], frames: NDArray[np.int_]) -> NDArray[np.float32]:
    """Return blocks from some frames on with as much beside them as their wave depends on, silence where there is none.

    float32 (blocks, `PEAK_BLOCK_FRAMES` + 2 · `_HALF_TAPS`, channels).
    """
    length = PEAK_BLOCK_FRAMES + 2 * _HALF_TAPS
    inside = (frames >= _HALF_TAPS) & (frames - _HALF_TAPS + length <= len(samples))
    around = np.empty((len(frames), length, samples.shape[1]), np.float32)
    if inside.any():
        channels = samples.shape[1]
        flat = np.ascontiguousarray(samples).reshape(-1)
        first = (frames[inside] - _HALF_TAPS) * channels
        around[inside] = _windows(flat, length * channels)[first].reshape(-1, length, channels)
    for place in np.flatnonzero(~inside):
        start = int(frames[place]) - _HALF_TAPS
        around[place] = _excerpt(samples, start, start + length)
    return around


def _highest_of_blocks(values: NDArray[np.float32], first: int, count: int) -> NDArray[np.float64]:
    """Return the highest magnitude of each of so many blocks from a frame on, 0 where there are no values."""
    highest = np.zeros(count)
    silent = max(-first, 0) // PEAK_BLOCK_FRAMES
    inside = values[max(first, 0) : max(first, 0) + (count - silent) * PEAK_BLOCK_FRAMES]
    heights = block_heights(inside)
    highest[silent : silent + len(heights)] = heights
    return highest


def block_heights(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the highest magnitude of each block of `PEAK_BLOCK_FRAMES`; the last may be shorter."""
    flat = np.ascontiguousarray(samples).reshape(-1)
    starts = np.arange(0, len(flat), PEAK_BLOCK_FRAMES * samples.shape[1])
    if not len(starts):
        return np.zeros(0, np.float32)
    heights: NDArray[np.float32] = np.maximum(
        np.maximum.reduceat(flat, starts), -np.minimum.reduceat(flat, starts)
    )
    return heights


def _block_peak(around: NDArray[np.float32]) -> float:
    """Return the highest magnitude of the oversampled wave of one block, given as by `_around`."""
    sides = np.ascontiguousarray(around[1:].T, np.float64)
    heard = [_windows(side, 2 * _HALF_TAPS) @ _interpolator()[0] for side in sides]
    return float(np.abs(heard).max())


def _excerpt(samples: NDArray[np.float32], start: int, stop: int) -> NDArray[np.float32]:
    """Frames from `start` up to `stop`, silence where there are none."""
    inside = samples[max(start, 0) : max(stop, 0)]
    if len(inside) == stop - start:
        return inside
    part = np.zeros((stop - start, samples.shape[1]), np.float32)
    offset = max(-start, 0)
    part[offset : offset + len(inside)] = inside
    return part


# ---- audio that comes in blocks

PIECE_STEPS = 16
"""Steps of 100 ms that are measured at a time."""

CHANNELS = 2


class MixMeter:
    """Measures sounds that are fed side by side, block by block, and what any mix of them has.

    Audio is never held whole. The figures are those for the same audio in one piece.

    Parameters
    ----------
    sample_rate_hz
        Frames a second, 8000 to 192 000.
    mixes
        Which of the sounds are heard together in the mixes of which peaks are looked for.
    split_frames
        Where steps are split for another measure's sake: how many frames of each are counted by themselves.

    Attributes
    ----------
    peaks
        Of each mix, as far as blocks came.
    """

    def __init__(self, sample_rate_hz: int, mixes: Mixes = ((0,),), split_frames: int = 0) -> None:
        step_frames = step_frames_of(sample_rate_hz)
        self._piece_frames = PIECE_STEPS * step_frames
        self._mixes = mixes
        sounds = 1 + max(max(mix) for mix in mixes)
        self._held = np.empty((sounds, self._piece_frames + 2 * AROUND_FRAMES, CHANNELS), np.float32)
        self._held_frames = self._before_frames = self._frames = 0
        self._weighted = KWeightedProducts(sample_rate_hz, step_frames, CHANNELS, sounds, split_frames)
        self._products: list[NDArray[np.float64]] = []
        self.peaks = [Peak() for _ in mixes]

    def feed(self, *blocks: NDArray[np.float32]) -> None:
        """Take the next block of each sound, float32 (frames, 2)."""
        frame, frames = 0, len(blocks[0])
        while frame < frames:
            room = self._before_frames + self._piece_frames + AROUND_FRAMES - self._held_frames
            count = min(room, frames - frame)
            for held, block in zip(self._held, blocks, strict=True):
                held[self._held_frames : self._held_frames + count] = block[frame : frame + count]
            self._held_frames += count
            frame += count
            if count == room:
                self._move_on(self._piece_frames)

    def _move_on(self, frames: int) -> None:
        """Measure so many frames of what is held and isn't measured; keep what those after them need before them."""
        start, stop = self._before_frames, self._before_frames + frames
        held, zero = self._held[:, : self._held_frames], self._frames - start
        known = [Peak(peak.height, peak.frame - zero) for peak in self.peaks]
        found = part_peaks(held, self._mixes, start, stop, known)
        self.peaks = [Peak(peak.height, peak.frame + zero) for peak in found]
        self._products.append(self._weighted.of(held[:, start:stop]))
        self._frames += frames
        kept = held[:, max(stop - AROUND_FRAMES, 0) :].copy()
        self._held_frames = kept.shape[1]
        self._held[:, : self._held_frames] = kept
        self._before_frames = min(stop, AROUND_FRAMES)

    def finish_products(self) -> NDArray[np.float64]:
        """Return the products of all that came, as `KWeightedProducts` gives them; now `peaks` are of all."""
        if self._held_frames > self._before_frames:
            self._move_on(self._held_frames - self._before_frames)
        return np.concatenate([self._weighted.of(self._held[:, :0]), *self._products])


class Meter(MixMeter):
    """Measures integrated loudness (ITU-R BS.1770-5) and true peak of one sound as blocks are fed to it."""

    def __init__(self, sample_rate_hz: int) -> None:
        super().__init__(sample_rate_hz)
        self._rate_hz = sample_rate_hz

    @property
    def peak_dbtp(self) -> float:
        """The true peak of what was measured so far."""
        return decibels(self.peaks[0].height)

    def finish(self) -> tuple[float, float]:
        """Return loudness in LUFS and true peak in dBTP of all that came; minus infinity for silence.

        Loudness of audio too quiet for the gates is measured without them.
        """
        energies = self.finish_products().sum(axis=1)[:, 0, 0]
        return loudness_lufs(energies, self._frames, self._rate_hz), self.peak_dbtp
