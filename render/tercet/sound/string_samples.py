"""The sounds of the built-in ukulele, ready to be mixed: each string and fret in each layer, made when first needed.

A *sample* is one note in both touches, as the layer plays it. What has been made is kept in the user's cache as 16-bit
figures, and the last `MOST_IN_MEMORY` in memory. It always sounds as those figures say, so a note is the same to the
last bit whether it was there or is new.

Levels aren't measured by striking: both touches are known, and mixing is linear. With S and F the K-weighted powers of
the soft and the firm touch over the `GESTURE_S` from the moment that the note is heard, and X that of their product, a
stroke of amplitudes a and b has the power ``a²·S + 2ab·X + b²·F``.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tercet.caches import Cache
from tercet.song import LAYERS
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.k_weighting import GESTURE_S, LOUDNESS_OFFSET_DB
from tercet.sound.note_measures import ATTACK_WINDOW_S, k_gain, onset_delay_s
from tercet.sound.plucked import SHARED_FRAMES, plucked_note
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS
from tercet.sound.struck import chop
from tercet.sound.ukulele import (
    CHOP_PEAK,
    CROSSFADE_CENTIBELS,
    SPAN_DB,
    model_digest,
)
from tercet.sound.ukulele_voice import layer_cutoff_hz

__all__ = ["StringSample", "chop_sound", "samples_identity", "string_sample", "touch_amplitudes"]

VERSION = 1
"""Raised whenever this module makes other samples from the same model."""

MOST_IN_MEMORY = 96
"""Samples, of 1 MB each; a song has some thirty."""

RISE_FRAMES = 64
"""The softest touch is under way when its sample begins; it rises over so many frames."""

FULL_SCALE = 32_768
"""Of the figures kept: what 16 bits hold, ±1 being the limit."""

USUAL_VELOCITY = 90
"""How hard a note is struck to find where its level is measured from: about mf."""

CONCAVE_DB = 40.0
"""A concave curve of the SoundFont specification (2.04, 9.5) falls by so many dB for each tenfold."""

SPECIFIED_CENTIBELS = 960
"""The attenuation to which that curve belongs."""

LOW_PASS_PART = 512
"""A low-pass at 1.5 kHz has died away after so many frames."""

VELOCITIES = np.arange(1.0, 128.0)


@dataclass(frozen=True, eq=False)
class StringSample:
    """One note of a string, soft and firm, as a layer plays it.

    Parameters
    ----------
    touches
        float32 (2, frames), soft and firm; read-only.
    """

    touches: NDArray[np.float32]

    def onset_delay_frames(self, velocity: float) -> int:
        """Return how long after the stroke it is heard; a firm touch is heard sooner than a soft one."""
        early = self.touches[:, : round(ATTACK_WINDOW_S * SAMPLE_RATE_HZ)]
        soft, firm = touch_amplitudes(velocity)
        mixed = np.float32(soft) * early[0] + np.float32(firm) * early[1]
        return round(onset_delay_s(mixed, SAMPLE_RATE_HZ) * SAMPLE_RATE_HZ)

    @cached_property
    def _energies(self) -> tuple[float, float, float]:
        """Mean K-weighted power of soft, both multiplied, and firm."""
        frames = round(GESTURE_S * SAMPLE_RATE_HZ)
        heard = self.touches[:, self.onset_delay_frames(USUAL_VELOCITY) :][:, :frames]
        spectra = np.fft.rfft(heard, 2 * frames) * _k_amplitudes(frames)
        parts = spectra.view(np.float32)
        # sums of products, not dot products: for these a library's threads would be woken
        soft, both, firm = (parts[[0, 0, 1]] * parts[[0, 1, 1]]).sum(axis=1, dtype=np.float64).tolist()
        return soft, both, firm

    def level_lufs(self, velocity: float) -> float:
        """Return the K-weighted level of a stroke in LUFS, heard on both sides."""
        soft, both, firm = self._energies
        a, b = touch_amplitudes(velocity)
        return LOUDNESS_OFFSET_DB + 10.0 * math.log10(
            2.0 * (a * a * soft + 2.0 * a * b * both + b * b * firm)
        )

    @cached_property
    def _levels_lufs(self) -> NDArray[np.float64]:
        soft, both, firm = self._energies
        a, b = _amplitudes_of_velocities()
        levels: NDArray[np.float64] = LOUDNESS_OFFSET_DB + 10.0 * np.log10(
            2.0 * (a * a * soft + 2.0 * a * b * both + b * b * firm)
        )
        return levels

    def velocity(self, level_lufs: float) -> float:
        """Return the velocity, 1 to 127 and not yet whole, that has a level; the nearest where none has."""
        return float(np.interp(level_lufs, self._levels_lufs, VELOCITIES))


def touch_amplitudes(velocity: float) -> tuple[float, float]:
    """Return the amplitudes of the soft and the firm touch at a velocity, 1 to 127.

    The firm one's is about v/127, the soft one's about 1 − v/127, and both fall by `SPAN_DB` evenly in dB: what the
    modulators of the font ask for.
    """
    fall_db = SPAN_DB * (1.0 - velocity / 128.0)
    soft_db, firm_db = _concave_db(1.0 - velocity / 127.0), _concave_db(velocity / 127.0)
    return 10.0 ** (-(soft_db + fall_db) / 20.0), 10.0 ** (-(firm_db + fall_db) / 20.0)


@functools.cache
def _amplitudes_of_velocities() -> NDArray[np.float64]:
    """Return `touch_amplitudes` for each of `VELOCITIES`, (2, velocities)."""
    return np.array([touch_amplitudes(velocity) for velocity in VELOCITIES.tolist()]).T


@functools.cache
def _k_amplitudes(frames: int) -> NDArray[np.float32]:
    """Return the K-weighting at the bins of a real FFT of twice so many frames, such that squares add up to power."""
    return np.asarray(np.sqrt(k_gain(2 * frames, SAMPLE_RATE_HZ)) / frames, np.float32)


def _concave_db(part: float) -> float:
    """Return the attenuation of a part from 0 to 1 by the concave curve over `CROSSFADE_CENTIBELS`."""
    scale = CROSSFADE_CENTIBELS / SPECIFIED_CENTIBELS
    most_db = CROSSFADE_CENTIBELS / 10.0
    return min(-CONCAVE_DB * scale * math.log10(part), most_db) if part > 0.0 else most_db


@functools.cache
def samples_identity() -> str:
    """Return a text that changes whenever a sample would sound different."""
    cutoffs = [layer_cutoff_hz(layer_index) for layer_index in range(len(LAYERS))]
    return f"strings {VERSION}, {model_digest()}, {cutoffs}"


@functools.lru_cache(maxsize=MOST_IN_MEMORY)
def string_sample(name: str, fret: int, layer_index: int) -> StringSample:
    """Return the sample of a string at a fret in one of `LAYERS`.

    Parameters
    ----------
    name
        One of `STRINGS_OF_INSTRUMENTS`.
    fret
        What it sounds, in semitones above the open string; below it on a string that is tuned lower.
    layer_index
        Place in `LAYERS`.
    """
    touches = _kept_figures(name, fret, layer_index).astype(np.float32) / np.float32(FULL_SCALE)
    touches[:, :RISE_FRAMES] *= np.arange(RISE_FRAMES, dtype=np.float32) / RISE_FRAMES
    touches.flags.writeable = False
    return StringSample(touches)


def _kept_figures(name: str, fret: int, layer_index: int) -> NDArray[np.int16]:
    """Return a sample's figures, int16 (2, frames), from the cache; made and kept if they aren't there."""
    cache = Cache.of_user("strings")
    cutoff_hz = layer_cutoff_hz(layer_index)
    key = f"{samples_identity()}, {name} {fret}, {cutoff_hz}"
    data = cache.get(key)
    if data is None:
        data = _figures(name, fret, cutoff_hz).tobytes()
        cache.keep(key, data)
    return np.frombuffer(data, np.int16).reshape(2, -1)


def _figures(name: str, fret: int, cutoff_hz: float | None) -> NDArray[np.int16]:
    """Make a sample's figures: plucked, or for a darker layer those of the melody through its low-pass."""
    if cutoff_hz is None:
        note = plucked_note(STRINGS_OF_INSTRUMENTS[name], fret, SAMPLE_RATE_HZ)
        return _as_figures(np.stack([note.soft, note.firm]))
    bright = _kept_figures(name, fret, layer_index=0).astype(np.float32) / np.float32(FULL_SCALE)
    return _as_figures(_low_passed(bright, cutoff_hz))


def _as_figures(sound: NDArray[np.floating]) -> NDArray[np.int16]:
    most = FULL_SCALE - 1
    return np.clip(np.round(FULL_SCALE * sound), -most, most).astype(np.int16)


def _low_passed(sounds: NDArray[np.float32], cutoff_hz: float) -> NDArray[np.float32]:
    """Return sounds (…, frames) through the low-pass of a darker layer."""
    frames = sounds.shape[-1]
    size = -(-(frames + LOW_PASS_PART) // SHARED_FRAMES) * SHARED_FRAMES
    spectra = np.fft.rfft(sounds, size) * _low_pass_answer(size, cutoff_hz)
    return np.asarray(np.fft.irfft(spectra, size)[..., :frames], np.float32)


@functools.lru_cache(maxsize=8)
def _low_pass_answer(size: int, cutoff_hz: float) -> NDArray[np.complex64]:
    """Return the answer of a low-pass of second order without a resonance at the bins of a real FFT of `size`.

    Butterworth by the bilinear transform (R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter
    coefficients"), the one that controller 74 of the font moves in FluidSynth.
    """
    omega = 2.0 * math.pi * cutoff_hz / SAMPLE_RATE_HZ
    alpha, cosine = math.sin(omega) / math.sqrt(2.0), math.cos(omega)
    delay = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
    answer = 0.5 * (1.0 - cosine) * (1.0 + delay) ** 2
    answer /= (1.0 + alpha) - 2.0 * cosine * delay + (1.0 - alpha) * delay**2
    short = np.asarray(answer, np.complex64)
    short.flags.writeable = False
    return short


@functools.lru_cache(maxsize=6)
def chop_sound(strength: int, *, up: bool) -> NDArray[np.float32]:
    """Return a chop at full strength, float32 (frames,); read-only."""
    sound = np.asarray(CHOP_PEAK * chop(strength, up=up, rate_hz=SAMPLE_RATE_HZ), np.float32)
    sound[:RISE_FRAMES] *= np.arange(RISE_FRAMES, dtype=np.float32) / RISE_FRAMES
    sound.flags.writeable = False
    return sound
