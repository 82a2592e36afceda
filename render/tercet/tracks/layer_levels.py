"""How loud any mix of a song's layers is, without being measured: from what was heard of the layers once.

Many tracks of a kit are the whole song, some layers left out. K-weighting is linear, so the loudness of each follows
from the products of its layers, and their peaks were looked for when the song was heard. Only where cues sound is such
a track measured as it is.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.song import Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.loudness import (
    AROUND_FRAMES,
    Peak,
    decibels,
    loudness_lufs,
    part_peaks,
    step_energies,
    step_frames_of,
)
from tercet.tracks.cues import LONGEST_CUE_FRAMES, Cue

__all__ = ["KnownMeter", "LayerLevels", "head_frames_of"]

STEP_FRAMES = step_frames_of(SAMPLE_RATE_HZ)
FADE_FRAMES = STEP_FRAMES
"""So long after a cue, the weighting has forgotten it."""


@dataclass(frozen=True, eq=False, slots=True)
class LayerLevels:
    """What was heard of the parts of a whole song, trims included.

    Parameters
    ----------
    parts
        The layers, or all of them as one.
    split_frames
        How many frames of each step of 100 ms are counted by themselves.
    products
        As `KWeightedProducts` gives them.
    peaks
        For mixes of parts, by their numbers in order, the true peak.
    """

    parts: tuple[tuple[Layer, ...], ...]
    split_frames: int
    products: NDArray[np.float32]
    peaks: Mapping[tuple[int, ...], Peak]

    def mix(self, layers: Collection[Layer]) -> tuple[int, ...] | None:
        """Return which parts make a mix of layers; None if they don't, or its peak wasn't looked for."""
        found = tuple(number for number, part in enumerate(self.parts) if set(part) <= set(layers))
        whole = {layer for number in found for layer in self.parts[number]} == set(layers)
        return found if whole and found in self.peaks else None

    def fits(self, shift_frames: int) -> bool:
        """Return whether steps of a track that the song lies in so many frames later are known."""
        return -shift_frames % STEP_FRAMES == self.split_frames

    def energies(self, mix: Sequence[int], shift_frames: int, length_frames: int) -> NDArray[np.float64]:
        """Return the energy of each step of a track of that length, see `fits`."""
        chosen = self.products[:, :, mix][:, :, :, mix].sum(axis=(2, 3), dtype=np.float64)
        steps = np.zeros(-(-length_frames // STEP_FRAMES))
        first = -(-shift_frames // STEP_FRAMES)
        for half, start in ((1, first), (0, first - 1)):
            inside = chosen[max(-start, 0) :, half][: len(steps) - max(start, 0)]
            steps[max(start, 0) : max(start, 0) + len(inside)] += inside
        return steps


class KnownMeter:
    """Tells what a `Meter` would measure of a track that is a mix of a song's layers; only its head is measured.

    Parameters
    ----------
    levels, mix
        The song's, and which mix it is, from `LayerLevels.mix`.
    shift_frames, length_frames
        How much later the song lies in the track than in what was heard; the track's length.
    head_frames
        So much of it is measured, whole steps.
    gain_db
        The track's, against what was heard.
    """

    def __init__(
        self,
        levels: LayerLevels,
        mix: tuple[int, ...],
        shift_frames: int,
        length_frames: int,
        head_frames: int,
        gain_db: float,
    ) -> None:
        gain = 10.0 ** (gain_db / 20.0)
        self._energies = levels.energies(mix, shift_frames, length_frames) * gain**2
        self._height = levels.peaks[mix].height * gain
        self._length_frames = length_frames
        self._head_frames = head_frames
        self._missing_frames = head_frames + AROUND_FRAMES if head_frames else 0
        self._head = [np.zeros((0, 2), np.float32)]

    @property
    def peak_dbtp(self) -> float:
        """The true peak that is known so far."""
        return decibels(self._height)

    def feed(self, block: NDArray[np.float32]) -> None:
        """Take the next block, float32 (frames, 2)."""
        if self._missing_frames:
            self._head.append(block[: self._missing_frames].copy())
            self._missing_frames -= len(self._head[-1])

    def finish(self) -> tuple[float, float]:
        """Return loudness in LUFS and true peak in dBTP, as `Meter.finish`."""
        head = np.concatenate(self._head)
        if self._head_frames:
            self._energies[: self._head_frames // STEP_FRAMES] = step_energies(
                head[: self._head_frames], SAMPLE_RATE_HZ
            )
            known = (Peak(self._height),)
            self._height = part_peaks((head,), ((0,),), 0, self._head_frames, known)[0].height
        return loudness_lufs(self._energies, self._length_frames, SAMPLE_RATE_HZ), self.peak_dbtp


def head_frames_of(cues: Sequence[Cue]) -> int:
    """Return how much of a track has to be measured for its cues, in whole steps."""
    if not cues:
        return 0
    return math.ceil((cues[-1].frame + LONGEST_CUE_FRAMES + FADE_FRAMES) / STEP_FRAMES) * STEP_FRAMES
