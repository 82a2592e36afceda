"""Where a stretch of one track comes again in another, and what of it: found from the samples, to the frame.

Tracks of a kit are put together from the same sounds. So a phrase that is heard again, wherever and in whatever
company, is the same to the last bit but for what rings over from before; where it begins is found to the frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

from tests.measure.audio import Samples, Track

__all__ = ["Lag", "gains_in", "lag_of", "level_db", "levels_db", "shares", "step_over_slope"]

REACH_FRAMES = 16
"""How far around where it is looked for something is found: kit.json tells times to 0.1 ms, 5 frames."""

STRIKE_BAND_HZ = (3_000.0, 12_000.0)


class Lag(tuple[int, float]):
    """How many frames later something comes, and how alike it is there: 1 for the same, up to loudness."""

    __slots__ = ()

    @property
    def frames(self) -> int:
        """Frames."""
        return self[0]

    @property
    def likeness(self) -> float:
        """The normalised correlation at that place."""
        return self[1]


def cut(samples: Samples, start: int, length: int) -> NDArray[np.float64]:
    """Return frames of a track, silence where it has none."""
    first, last = max(start, 0), min(start + length, len(samples))
    piece = np.zeros((length, samples.shape[1]))
    if first < last:
        piece[first - start : last - start] = samples[first:last]
    return piece


def lag_of(
    samples: Samples,
    reference: Samples,
    start: int,
    length: int,
    about: int,
    reach: int = REACH_FRAMES,
    order: int = 1,
) -> Lag:
    """Return how much later a stretch of `reference` comes in `samples`.

    It is found by steps from sample to sample, whose treble tells frames apart where strings ring on under one of the
    two; how alike both are is told of the samples themselves.

    Parameters
    ----------
    samples, reference
        Two tracks, or what is left of them.
    start, length
        The stretch, in frames of `reference`.
    about
        About how much later it comes, in frames.
    reach
        How far around that is looked.
    order
        How often steps are taken of steps: the more, the less what lies below counts.
    """
    plain = cut(reference, start, length), cut(samples, start + about - reach, length + 2 * reach)
    wanted, around = (_steps(each, order) for each in plain)
    own = float((wanted**2).sum())
    power = np.concatenate([[0.0], np.cumsum((around**2).sum(axis=1))])
    flat, wide = np.ascontiguousarray(around).ravel(), np.ascontiguousarray(wanted).ravel()
    sides = wanted.shape[1]
    products = np.array(
        [flat[sides * place : sides * place + len(wide)] @ wide for place in range(2 * reach + 1)]
    )
    loud = np.sqrt(np.maximum(own * (power[length:] - power[:-length]), 1e-20))
    best = int(np.argmax(products / loud))
    here = plain[1][best : best + length]
    power_of_both = float((plain[0] ** 2).sum()) * float((here**2).sum())
    return Lag((about + best - reach, float((plain[0] * here).sum()) / max(math.sqrt(power_of_both), 1e-20)))


def _steps(sound: NDArray[np.float64], order: int) -> NDArray[np.float64]:
    """Return the steps from frame to frame, 6 dB an octave brighter for each order, as long as the sound."""
    return np.diff(sound, order, axis=0, prepend=np.repeat(sound[:1], order, axis=0))


def gains_in(part: NDArray[np.float64], references: Sequence[NDArray[np.float64]]) -> tuple[float, ...]:
    """Return how much of some sounds a stretch holds: 1 as they are, 0 not at all; by least squares."""
    columns = np.stack([each.ravel() for each in references], axis=1)
    return tuple(float(gain) for gain in np.linalg.lstsq(columns, part.ravel(), rcond=None)[0])


def level_db(part: NDArray[np.floating]) -> float:
    """Return the mean power of a stretch in dB against full scale; minus 200 for nothing."""
    power = float(np.mean(np.asarray(part, np.float64) ** 2)) if part.size else 0.0
    return 10.0 * math.log10(max(power, 1e-20))


def levels_db(samples: Samples, start: int, end: int, window: int) -> NDArray[np.float64]:
    """Return the level of each whole window between two frames, in dB against full scale."""
    count = (end - start) // window
    parts = np.asarray(samples[start : start + count * window], np.float64).reshape(count, -1)
    return np.asarray(10.0 * np.log10(np.maximum((parts**2).mean(axis=1), 1e-20)))


def shares(tracks: Sequence[Track], whole: Track, start: int, end: int) -> tuple[float, ...]:
    """Return how much of the strokes of `whole` between two frames is in each of some tracks, heard over 3 kHz."""
    band = butter(4, STRIKE_BAND_HZ, "bandpass", fs=whole.rate_hz, output="sos")
    margin = round(0.02 * whole.rate_hz)

    def strokes(track: Track) -> NDArray[np.float64]:
        heard = sosfiltfilt(band, cut(track.samples, start - margin, end - start + 2 * margin), axis=0)
        return np.asarray(heard[margin:-margin])

    wanted = strokes(whole)
    power = float((wanted**2).sum()) or 1.0
    return tuple(float((strokes(track) * wanted).sum()) / power for track in tracks)


def step_over_slope(track: Track, joint: int, near_frames: int = 24, far_s: float = 0.05) -> float:
    """Return the largest step from frame to frame at a joint, over the largest that the music has around it.

    At the joint: within `near_frames`. Around it: `far_s` before and after. A cut in the wave makes a step of its own
    height; where music goes on, what is at the joint is no steeper than what is around it.
    """
    far = round(far_s * track.rate_hz)
    steps = np.abs(np.diff(cut(track.samples, joint - far, 2 * far), axis=0)).max(axis=1)
    near = slice(far - near_frames, far + near_frames)
    around = np.concatenate([steps[: near.start], steps[near.stop :]])
    return float(steps[near].max() / max(float(around.max()), 1e-9))
