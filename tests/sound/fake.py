"""A synthesiser without a library, for tests: every note is a decaying sinusoid of exactly known pitch and onset."""

from __future__ import annotations

import functools
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from tercet.performing import Take
from tercet.song import LAYERS
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.schedule import Stroke, fade_end, length_frames_of, strokes_of
from tercet.sound.stems import STEM_NAMES, StemName, Stems
from tercet.sound.struck import cue_stem

__all__ = ["FakeSynthesiser"]

AMPLITUDE = 0.25
"""Amplitude at velocity 127, in the first moment."""

T60_S = 3.0
"""A note falls by 60 dB in this time."""

DAMPED_S = 0.02
"""A damped note is silent after this time."""


class FakeSynthesiser:
    """A `Synthesiser` whose samples can be foretold.

    A note of key m and velocity v that starts in frame n is
    ``AMPLITUDE · (v/127)² · 10^(−3 t/T60_S) · sin(2π · 440 · 2^((m−69)/12) · t)`` from frame n on, on both sides, until
    it is damped; so levels follow 40·log10(v/127) dB, as sound fonts do (SoundFont specification 2.04, 8.4.1).
    """

    def identity(self) -> str:
        """Return the same text always."""
        return "fake, decaying sinusoids, 1"

    def keys(self) -> None:
        """Return None: it has every key."""

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of a take, float32 (frames, 2), 48 kHz; the same take gives the same samples."""
        frames = length_frames_of(take, SAMPLE_RATE_HZ)
        stems: dict[StemName, NDArray[np.float32]] = {
            layer: np.zeros((frames, 2), np.float32) for layer in LAYERS if layer in names
        }
        for stroke in strokes_of(take, SAMPLE_RATE_HZ):
            if LAYERS[stroke.layer_index] in stems:
                _add(stems[LAYERS[stroke.layer_index]], stroke)
        for layer in stems.values():
            fade_end(layer, SAMPLE_RATE_HZ)
        if "cues" in names:
            stems["cues"] = cue_stem(take.clicks, frames, SAMPLE_RATE_HZ)
        return Stems(SAMPLE_RATE_HZ, stems)


def _add(layer: NDArray[np.float32], stroke: Stroke) -> None:
    """Add one stroke to its layer (frames, 2)."""
    fade = np.linspace(1.0, 0.0, round(DAMPED_S * SAMPLE_RATE_HZ), dtype=np.float32)
    sound = _string(stroke.midi)
    if stroke.off_frame is not None:
        sound = sound[: stroke.off_frame - stroke.on_frame + len(fade)].copy()
        damped = sound[stroke.off_frame - stroke.on_frame :]
        damped *= fade[: len(damped)]
    space = layer[stroke.on_frame : stroke.on_frame + len(sound)]
    space += (stroke.velocity / 127) ** 2 * sound[: len(space), None]


@functools.lru_cache(maxsize=128)
def _string(midi: int) -> NDArray[np.float32]:
    """Return a key at velocity 127 until it has fallen by 80 dB, float32 (frames,)."""
    time_s = np.arange(round(T60_S * 4 / 3 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    hertz = 440.0 * 2.0 ** ((midi - 69) / 12)
    sound = AMPLITUDE * 10.0 ** (-3.0 * time_s / T60_S) * np.sin(2.0 * np.pi * hertz * time_s)
    return np.asarray(sound, np.float32)
