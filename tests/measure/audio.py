"""Reading tracks, and whether the tracks of a kit belong together: they add up, start together, keep their levels.

Audio is float32, (frames, channels), full scale ±1; it holds every value of a 16 or 24 bit file, and the sum of two,
exactly. A *step* is the distance of two neighbouring values of a file: 2^−15 with 16 bits, 2^−23 with 24.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import find_peaks

__all__ = [
    "LAYERS",
    "Cues",
    "Samples",
    "Track",
    "adding_up_residues",
    "cue_figures",
    "delay_s",
    "full_scale_frames",
    "layer_gains",
    "read_track",
]

Samples = NDArray[np.float32]
LAYERS = ("melody", "between", "strums")
SECOND = "second"
"""The layer that a song has besides where it asks for one."""


CHUNK_FRAMES = 1 << 18
MOST_CHUNKS = 6
FURTHEST_DELAY_S = 0.1
FINENESS = 4
"""Delays are found on a grid of this many places a frame."""


@dataclass(frozen=True, slots=True)
class Track:
    """An audio file: its samples, frames a second, and the step of its samples (0 where it has none)."""

    samples: Samples
    rate_hz: int
    step: float = 0.0

    @property
    def length_frames(self) -> int:
        """Frames."""
        return len(self.samples)


def read_track(path: Path) -> Track:
    """Read an audio file of any kind that libsndfile knows."""
    bits = {"PCM_16": 16, "PCM_24": 24}.get(soundfile.info(path).subtype)
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return Track(samples, rate_hz, 2.0 ** (1 - bits) if bits else 0.0)


def adding_up_residues(kit: Mapping[str, Track]) -> dict[str, Samples]:
    """Return what is left of ``without-X + only-X − demo`` for each layer X, and of ``(Σ only − demo) / (layers − 1)``.

    What is left is what every track holds besides its layers: the count-in. So all are the same and silent after it,
    within 1.5 steps for a layer and 1 step for the last, named ``all``: each file is half a step off at most.
    """
    demo = kit["demo"].samples
    layers = [layer for layer in (*LAYERS, SECOND) if layer in LAYERS or f"only-{layer}" in kit]
    left = {layer: kit[f"without-{layer}"].samples + kit[f"only-{layer}"].samples - demo for layer in layers}
    alone = [kit[f"only-{layer}"].samples for layer in layers]
    left["all"] = (np.sum(alone, axis=0) - demo) / (len(layers) - 1)
    return left


@dataclass(frozen=True, slots=True)
class Cues:
    """What a residue holds: when its knocks are struck, how high each reaches, and when the last sound is over."""

    onsets_s: tuple[float, ...]
    peaks: tuple[float, ...]
    end_s: float


def cue_figures(residue: Samples, rate_hz: int, threshold: float) -> Cues:
    """Find the knocks in a residue, in seconds to 1 ms; what isn't above `threshold` is silence.

    A knock begins with the first sample that reaches a fifth of its peak; two are at least 0.15 s apart.
    """
    height = np.abs(residue).max(axis=1)
    loud = np.flatnonzero(height > threshold)
    if not len(loud):
        return Cues((), (), 0.0)
    tops, _ = find_peaks(height, height=max(0.3 * height.max(), threshold), distance=round(0.15 * rate_hz))
    onsets_s = []
    for top in tops:
        first = max(top - round(0.05 * rate_hz), 0)
        rise = height[first : top + 1] >= 0.2 * height[top]
        onsets_s.append(float(first + np.argmax(rise)) / rate_hz)
    return Cues(tuple(onsets_s), tuple(float(height[top]) for top in tops), (int(loud[-1]) + 1) / rate_hz)


def delay_s(track: Track, reference: Track, start_s: float = 0.0) -> float:
    """Return how much later a track is than one with which it shares some sound, in seconds, to a quarter of a frame.

    The peak of their cross-correlation within 100 ms, with every frequency given the same weight (the phase transform
    of Knapp & Carter 1976, IEEE Trans. ASSP 24(4)), over at most 19 s. Positive is late.

    Parameters
    ----------
    track, reference
        Two tracks at the same rate, longer than a second.
    start_s
        What comes before isn't heard: behind a count-in the layers themselves are compared.
    """
    first, rate_hz = round(start_s * track.rate_hz), track.rate_hz
    ours, theirs = (each.samples[first:].mean(axis=1) for each in (track, reference))
    size = min(CHUNK_FRAMES, len(ours), len(theirs))
    window = np.hanning(size).astype(np.float32)
    cross = np.zeros(size // 2 + 1, np.complex128)
    starts = range(0, min(len(ours), len(theirs)) - size + 1, size // 2)
    for at in starts[:MOST_CHUNKS]:
        spectra = [np.fft.rfft(each[at : at + size] * window) for each in (ours, theirs)]
        cross += spectra[0] * np.conj(spectra[1])
    weight = np.abs(cross)
    cross = np.where(weight > 1e-9 * weight.max(), cross / np.maximum(weight, 1e-30), 0.0)
    likeness = np.fft.irfft(cross, size * FINENESS)
    reach = round(FURTHEST_DELAY_S * rate_hz * FINENESS)
    near = np.concatenate([likeness[-reach:], likeness[: reach + 1]])
    return (int(np.argmax(near)) - reach) / (rate_hz * FINENESS)


def layer_gains(track: Track, alone: Mapping[str, Track], start_s: float) -> dict[str, float]:
    """Return how much of each layer a track holds: 1 as loud as it is alone, 0 left out; to 0.0001 with 16 bits.

    Least squares over all samples after the count-in: the gains that bring the sum of the layers nearest to the track.

    Parameters
    ----------
    track
        Any track of a kit.
    alone
        The tracks ``only-…`` by layer.
    start_s
        When the count-in is over.
    """
    square, product = np.zeros((len(LAYERS), len(LAYERS))), np.zeros(len(LAYERS))
    for at in range(round(start_s * track.rate_hz), track.length_frames, CHUNK_FRAMES):
        part = slice(at, at + CHUNK_FRAMES)
        layers = np.stack([alone[layer].samples[part].ravel() for layer in LAYERS]).astype(np.float64)
        square += layers @ layers.T
        product += layers @ track.samples[part].ravel()
    gains = np.linalg.lstsq(square, product, rcond=None)[0]
    return dict(zip(LAYERS, gains.tolist(), strict=True))


def full_scale_frames(track: Track) -> int:
    """Return in how many frames a sample is at full scale: within one step of ±1, or beyond."""
    return int((np.abs(track.samples) >= 1.0 - track.step).any(axis=1).sum())
