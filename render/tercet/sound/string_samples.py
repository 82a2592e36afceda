"""The sounds of the built-in ukulele, ready to be mixed: each string and fret in each layer, made when first needed.

A *sample* is one note in both touches, as the layer plays it, and what a pluck beside its place changes. What has been
made is kept in the user's cache as 16-bit figures, and the last `MOST_IN_MEMORY` in memory. It always sounds as those
figures say, so a note is the same to the last bit whether it was there or is new. What rings along with it on open
strings and the noise of the skin are quickly made, and kept in memory alone.

Levels aren't measured by striking: both touches are known, and mixing is linear. With S and F the K-weighted powers of
the soft and the firm touch over the `GESTURE_S` from the moment that the note is heard, and X that of their product, a
stroke of amplitudes a and b has the power ``a²·S + 2ab·X + b²·F``; a pluck beside its place is a third sound of
amplitude b·w.
"""

from __future__ import annotations

import functools
import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tercet.caches import Cache
from tercet.song import LAYERS
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.k_weighting import GESTURE_S, LOUDNESS_OFFSET_DB
from tercet.sound.note_measures import ATTACK_WINDOW_S, k_gain, onset_delay_s
from tercet.sound.plucked import (
    CONTACTS,
    SHARED_FRAMES,
    contact,
    low_pass,
    plucked_note,
    rings_along,
)
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS, meetings
from tercet.sound.struck import chop
from tercet.sound.ukulele import (
    CHOP_PEAK,
    CROSSFADE_CENTIBELS,
    SPAN_DB,
    model_digest,
)
from tercet.sound.ukulele_voice import layer_cutoff_hz

__all__ = [
    "RISE_FRAMES",
    "StringSample",
    "chop_sound",
    "contact_of",
    "resonance",
    "samples_identity",
    "skin_amplitude",
    "skin_sound",
    "string_sample",
    "touch_amplitudes",
]

VERSION = 3
"""Raised whenever this module makes other samples from the same model."""

MOST_IN_MEMORY = 64
"""Samples, of 1.5 MB each; a song has some thirty."""

MOST_RESONANCES = 128
"""Of 0.3 MB each."""

RISE_FRAMES = 64
"""The softest touch is under way when its sample begins; it rises over so many frames."""

FULL_SCALE = 32_768
"""Of the figures kept: what 16 bits hold, ±1 being the limit."""

LEAST_SKIN = 0.25
"""How much of the noise of the skin every stroke has."""

USUAL_VELOCITY = 90
"""How hard a note is struck to find where its level is measured from: about mf."""

CONCAVE_DB = 40.0
"""A concave curve of the SoundFont specification (2.04, 9.5) falls by so many dB for each tenfold."""

SPECIFIED_CENTIBELS = 960
"""The attenuation to which that curve belongs."""

LOW_PASS_PART = 512
"""A low-pass at 1.5 kHz has died away after so many frames."""


@dataclass(frozen=True, eq=False)
class StringSample:
    """One note of a string, soft and firm, as a layer plays it.

    Parameters
    ----------
    touches
        float32 (3, frames): soft, firm, and what the firm one changes by where the thumb plucks further from the
        bridge; read-only.
    """

    touches: NDArray[np.float32]

    def onset_delay_frames(
        self, velocity: float, aside: float = 0.0, skin: NDArray[np.float32] | None = None
    ) -> int:
        """Return how long after the stroke it is heard; a firm touch is heard sooner than a soft one.

        Parameters
        ----------
        velocity, aside
            As in `level_lufs`.
        skin
            `skin_sound` of the stroke; None if there is none.
        """
        soft, firm = touch_amplitudes(velocity)
        amplitudes = np.array([soft, firm, firm * aside], np.float32)
        mixed = np.einsum("i,ij->j", amplitudes, self._early)
        if skin is not None:
            mixed[: len(skin)] += np.float32(soft + firm) * skin
        return round(onset_delay_s(mixed, SAMPLE_RATE_HZ) * SAMPLE_RATE_HZ)

    @cached_property
    def _early(self) -> NDArray[np.float32]:
        """The beginning of `touches`, side by side."""
        return self.touches[:, : round(ATTACK_WINDOW_S * SAMPLE_RATE_HZ)].copy()

    @cached_property
    def _energies(self) -> tuple[float, float, float, float, float, float]:
        """Mean K-weighted power of soft, soft with firm, firm, soft with aside, firm with aside, and aside."""
        frames = round(GESTURE_S * SAMPLE_RATE_HZ)
        start = self.onset_delay_frames(USUAL_VELOCITY)
        heard = self.touches[:, start : start + frames]
        spectra = np.fft.rfft(heard, 2 * frames) * _k_amplitudes(frames)
        parts = spectra.view(np.float32)
        # sums of products, not dot products: for these a library's threads would be woken
        powers = (parts[[0, 0, 1, 0, 1, 2]] * parts[[0, 1, 1, 2, 2, 2]]).sum(axis=1, dtype=np.float64)
        soft, both, firm, soft_aside, firm_aside, aside_alone = powers.tolist()
        return soft, both, firm, soft_aside, firm_aside, aside_alone

    def level_lufs(self, velocity: float, aside: float = 0.0) -> float:
        """Return the K-weighted level of a stroke in LUFS, heard on both sides.

        Parameters
        ----------
        velocity
            1 to 127, not necessarily whole.
        aside
            Where it is plucked, −1 to 1: from nearest the bridge to furthest from it.
        """
        soft, both, firm, soft_aside, firm_aside, aside_alone = self._energies
        a, b = touch_amplitudes(velocity)
        c = aside * b
        power = a * a * soft + 2.0 * a * b * both + b * b * firm
        power += 2.0 * a * c * soft_aside + 2.0 * b * c * firm_aside + c * c * aside_alone
        return LOUDNESS_OFFSET_DB + 10.0 * math.log10(2.0 * power)

    @cached_property
    def _levels_lufs(self) -> list[float]:
        """The level of each velocity from 1 on."""
        soft, both, firm, *_ = self._energies
        a, b = _amplitudes_of_velocities()
        powers = 2.0 * (a * a * soft + 2.0 * a * b * both + b * b * firm)
        levels: list[float] = (LOUDNESS_OFFSET_DB + 10.0 * np.log10(powers)).tolist()
        return levels

    def velocity(self, level_lufs: float) -> float:
        """Return the velocity, 1 to 127 and not yet whole, that has a level; the nearest where none has."""
        levels = self._levels_lufs
        above = bisect_right(levels, level_lufs)
        if above in (0, len(levels)):
            return float(max(above, 1))
        below_lufs = levels[above - 1]
        return above + (level_lufs - below_lufs) / (levels[above] - below_lufs)


@functools.lru_cache(maxsize=1024)
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
    """Return `touch_amplitudes` for each whole velocity, (2, velocities)."""
    return np.array([touch_amplitudes(float(velocity)) for velocity in range(1, 128)]).T


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
    sound = _as_sound(_kept(name, fret, layer_index))
    sound[:, :RISE_FRAMES] *= np.arange(RISE_FRAMES, dtype=np.float32) / RISE_FRAMES
    sound.flags.writeable = False
    return StringSample(sound)


@functools.lru_cache(maxsize=MOST_RESONANCES)
def resonance(
    name: str, fret: int, other: str, other_fret: int, layer_index: int
) -> NDArray[np.float32] | None:
    """Return what an open string adds to the sum of both touches of a sample, float32 (frames,); read-only.

    None where the two strings have no partial in common.

    Parameters
    ----------
    name, fret, layer_index
        As in `string_sample`.
    other, other_fret
        The open string, and what it sounds in semitones above the model's.
    """
    struck, free = STRINGS_OF_INSTRUMENTS[name], STRINGS_OF_INSTRUMENTS[other]
    if not meetings(struck, fret, free, other_fret).any():
        return None
    ring = rings_along(struck, fret, free, other_fret, SAMPLE_RATE_HZ, layer_cutoff_hz(layer_index))
    ring.flags.writeable = False
    return ring


def _kept(name: str, fret: int, layer_index: int) -> NDArray[np.int16]:
    """Return a sample's figures, int16 (3, frames), from the cache; made and kept if they aren't there."""
    cache = Cache.of_user("strings")
    cutoff_hz = layer_cutoff_hz(layer_index)
    key = f"{samples_identity()}, {name} {fret}, {cutoff_hz}"
    data = cache.get(key)
    if data is None:
        data = _figures(name, fret, cutoff_hz).tobytes()
        cache.keep(key, data)
    return np.frombuffer(data, np.int16).reshape(3, -1)


def _figures(name: str, fret: int, cutoff_hz: float | None) -> NDArray[np.int16]:
    """Make a sample's figures, (3, frames): plucked, or for a darker layer those of the melody through its low-pass."""
    if cutoff_hz is None:
        note = plucked_note(STRINGS_OF_INSTRUMENTS[name], fret, SAMPLE_RATE_HZ)
        return np.stack([_as_figures(sound) for sound in (note.soft, note.firm, note.aside)])
    return _as_figures(_low_passed(_as_sound(_kept(name, fret, layer_index=0)), cutoff_hz))


def _as_figures(sound: NDArray[np.floating]) -> NDArray[np.int16]:
    most = FULL_SCALE - 1
    scaled = FULL_SCALE * sound
    return np.clip(np.round(scaled, out=scaled), -most, most, out=scaled).astype(np.int16)


def _as_sound(figures: NDArray[np.int16]) -> NDArray[np.float32]:
    return np.asarray(figures * np.float32(1.0 / FULL_SCALE), np.float32)


def _low_passed(sounds: NDArray[np.float32], cutoff_hz: float) -> NDArray[np.float32]:
    """Return sounds (…, frames) through the low-pass of a darker layer."""
    frames = sounds.shape[-1]
    size = -(-(frames + LOW_PASS_PART) // SHARED_FRAMES) * SHARED_FRAMES
    spectra = np.fft.rfft(sounds, size) * _low_pass_answer(size, cutoff_hz)
    return np.asarray(np.fft.irfft(spectra, size)[..., :frames], np.float32)


@functools.lru_cache(maxsize=8)
def _low_pass_answer(size: int, cutoff_hz: float) -> NDArray[np.complex64]:
    """Return `low_pass` at the bins of a real FFT of `size`."""
    s = np.asarray(2j * np.pi * SAMPLE_RATE_HZ / size * np.arange(size // 2 + 1), np.complex128)
    short = low_pass(s, cutoff_hz, SAMPLE_RATE_HZ).astype(np.complex64)
    short.flags.writeable = False
    return short


def skin_sound(skin: float, layer_index: int) -> NDArray[np.float32]:
    """Return the noise of the skin beside the sum of both touches, float32 (frames,).

    Parameters
    ----------
    skin
        How much of it is heard, 0 to 1; which of the noises it is follows from this too.
    layer_index
        Place in `LAYERS`.
    """
    return _contact_sound(contact_of(skin), layer_index) * np.float32(skin_amplitude(skin))


def contact_of(skin: float) -> int:
    """Return which of `CONTACTS` noises of the skin a stroke has."""
    return int(skin * CONTACTS * CONTACTS) % CONTACTS


def skin_amplitude(skin: float) -> float:
    """Return how much of the noise of the skin a stroke has."""
    return LEAST_SKIN + (1.0 - LEAST_SKIN) * skin


@functools.lru_cache(maxsize=CONTACTS * len(LAYERS))
def _contact_sound(which: int, layer_index: int) -> NDArray[np.float32]:
    """Return one of `CONTACTS` noises of the skin as a layer has it, float32 (frames,); read-only."""
    cutoff_hz = layer_cutoff_hz(layer_index)
    if cutoff_hz is None:
        heard = contact(which, SAMPLE_RATE_HZ).astype(np.float32)
    else:
        heard = _low_passed(_contact_sound(which, layer_index=0), cutoff_hz)
    heard.flags.writeable = False
    return heard


@functools.lru_cache(maxsize=6)
def chop_sound(strength: int, *, up: bool) -> NDArray[np.float32]:
    """Return a chop at full strength, float32 (frames,); read-only."""
    sound = np.asarray(CHOP_PEAK * chop(strength, up=up, rate_hz=SAMPLE_RATE_HZ), np.float32)
    sound[:RISE_FRAMES] *= np.arange(RISE_FRAMES, dtype=np.float32) / RISE_FRAMES
    sound.flags.writeable = False
    return sound
