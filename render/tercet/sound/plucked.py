"""A plucked note as samples: string, touch and body put together, soft and firm, moving together.

Each note is voiced as an instrument maker would: the width of the soft and of the firm stroke is chosen so that the
note's brightness lies on a line over pitch, and its level on a constant. So one velocity sounds alike everywhere on the
neck, and the same step of velocity brightens every note.
"""

from __future__ import annotations

import functools
import math
import random
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.performing.free_strings import LONGEST_S
from tercet.sound.k_weighting import GESTURE_S, LOUDNESS_OFFSET_DB
from tercet.sound.note_measures import k_gain, k_weighted_level_db
from tercet.sound.string_model import (
    LET_GO_S,
    NARROWEST_S,
    SPARE_FRAMES,
    STRINGS_OF_INSTRUMENTS,
    SYMPATHY,
    UNEVEN_CENTS,
    WIDEST_S,
    UkeString,
    body_on,
    body_response,
    circle_of,
    knock_transform,
    loop_turns,
    meetings,
    partial_decays_per_s,
    partials_hz,
    pluck_moved,
    pluck_place,
    pluck_transform,
    string_loop,
    string_poles,
    t60_s,
    touch_transform,
)

__all__ = [
    "CONTACTS",
    "RING_PER_T60",
    "SHARED_FRAMES",
    "NoteVoice",
    "PluckedNote",
    "all_ring_along",
    "aside_part",
    "contact",
    "firm_centroid_hz",
    "knock_gain",
    "low_pass",
    "low_pass_figures",
    "note_frames",
    "note_voice",
    "plucked_note",
    "ring_figures",
    "ring_s",
    "rings_along",
    "soft_centroid_hz",
    "touch_width_s",
    "touch_widths_s",
]

SECOND_PART = 0.118
"""Part of the second polarisation in a stroke of the thumb, which pushes mostly towards the top."""

UNEVEN_PART = -0.018
"""Part that is `UNEVEN_CENTS` sharper: partials beat by 0.3 dB. It starts against the rest, so that a note doesn't
stick out where it is plucked: songs come out 0.2 dB louder."""

UNEVEN_TURNS = 1.0 - 2.0 ** (UNEVEN_CENTS / 1200.0)
"""By which part of a turn that is ahead."""

RING_PER_T60 = 1.4
"""A sample lasts this many T60 of its fundamental: until it is more than 45 dB down."""

FADE_S = 0.08
"""The last part of a sample, in which it sinks to nothing."""

SOFT_CENTROID = 1.012
"""Centroid of the softest touch, the fundamental being 1."""

FIRM_LINE: tuple[tuple[float, float], ...] = (
    (140.0, 640.0), (220.0, 655.0), (262.0, 735.0), (392.0, 1030.0), (466.0, 1140.0), (494.0, 1280.0), (587.0, 1560.0),
    (740.0, 1960.0), (1047.0, 2450.0),
)  # fmt: skip
"""Centroid of the firmest touch in Hz by fundamental. At velocity 96 (0.84 of this) it lies within a third of a sampled
ukulele's, whose keys jump where its samples change; so the line bends below B4."""

SHARED_FRAMES = 32_768
"""Notes are computed on circles of multiples of this many frames, so that most share one, and what body and open
strings do on it is worked out once: a note then takes 15 ms instead of 40."""

KNOCK_RMS, KNOCK_WITHIN_S = 0.0097, 0.06
"""How loud the body's knock is under a note at `LEVEL_DB`, over so long."""

SCALE_M = 0.38
"""Sounding length of an open string, concert size."""

ASIDE_M = 0.01
"""How far from its place the thumb may pluck, either way."""

CONTACTS = 8
"""So many sounds of skin on string there are; no two strokes in a row need have the same."""

CONTACT_FROM_S, CONTACT_S, CONTACT_RISE_S, CONTACT_T60_S, CONTACT_PEAK = 0.0012, 0.034, 0.0015, 0.04, 0.012
"""When skin is heard on the string, as the thumb leaves it (later, a thick string would seem to be struck there); how
long a sample is, how soon and how it dies away, and how high it is at most beside a note."""

NOTHING_LEFT = 6.5
"""A touch leaves nothing (−180 dB) above so many radians over its width: there, nothing is worked out."""

NEAREST_PER_S = 0.05
"""No two strings are tuned alike to the last hair: their poles are at least so far apart."""

THUD = 0.02
"""Part of the body's own knock in a firm stroke: the thumb that lands on the next string."""

LEVEL_DB = -25.4
"""K-weighted level over 400 ms that every sample is brought to, in LUFS for one channel."""


@dataclass(frozen=True, slots=True)
class PluckedNote:
    """One note, softest and firmest, float64 (frames,) each, equally loud, full scale being 1.

    Parameters
    ----------
    soft, firm
        The note as nothing rings along with it.
    aside
        What the firm one changes by where the thumb plucks `ASIDE_M` further from the bridge. It dies away as the note
        does, for a part that ended sooner would be heard as a beat.
    """

    soft: NDArray[np.float64]
    firm: NDArray[np.float64]
    aside: NDArray[np.float64]


def ring_s(string: UkeString, fret: int, ring_per_t60: float = RING_PER_T60) -> float:
    """Return how long a note's sample is."""
    return ring_per_t60 * t60_s(string, fret)


def soft_centroid_hz(frequency_hz: float) -> float:
    """Return the brightness of the softest touch: hardly more than the fundamental."""
    return SOFT_CENTROID * frequency_hz


def firm_centroid_hz(frequency_hz: float) -> float:
    """Return the brightness of the firmest touch, from `FIRM_LINE`."""
    fundamentals_hz, centroids_hz = zip(*FIRM_LINE, strict=True)
    return float(np.interp(frequency_hz, fundamentals_hz, centroids_hz))


def touch_width_s(string: UkeString, fret: int, centroid_hz: float) -> float:
    """Return the width of the stroke that gives a note a brightness, by halving; the nearest one if none does.

    The partials' energies over `GESTURE_S` are summed: ``|force · body · touch|² · (1 − e^(−2αt))/2α``.
    """
    hertz = partials_hz(string, fret)
    s = np.asarray(2j * np.pi * hertz, np.complex128)
    turns = loop_turns(s, string, fret)
    first_hz = string.frequency_hz(fret)
    force = pluck_transform(s, turns, pluck_place(string.pluck_place, fret), first_hz) * body_response(s)
    decays = partial_decays_per_s(string, fret)
    energy = np.abs(force) ** 2 * (1.0 - np.exp(-2.0 * decays * GESTURE_S)) / decays
    narrow, wide = NARROWEST_S, WIDEST_S
    for _ in range(18):
        width = float(np.sqrt(narrow * wide))
        heard = energy * np.exp(-((2.0 * np.pi * hertz * width) ** 2))
        if (hertz * heard).sum() / heard.sum() > centroid_hz:
            narrow = width
        else:
            wide = width
    return width


def plucked_note(
    string: UkeString, fret: int, rate_hz: int, ring_per_t60: float = RING_PER_T60
) -> PluckedNote:
    """Return a note in both touches, and what a pluck beside its place changes.

    Parameters
    ----------
    string, fret
        What sounds, fret 0 or more.
    rate_hz
        Frames a second, at least 32000.
    ring_per_t60
        How long it is, in T60 of its fundamental.
    """
    frames = note_frames(string, fret, rate_hz, ring_per_t60)
    struck = _struck(string, fret, frames, rate_hz)
    voice = _voice(struck, rate_hz)
    end = _sinking(frames, round(FADE_S * rate_hz))
    return PluckedNote(
        (struck.soft * voice.soft + struck.knock * voice.soft_knock) * end,
        (struck.firm * voice.firm + struck.knock * voice.firm_knock) * end,
        struck.aside * voice.aside * end,
    )


def note_frames(string: UkeString, fret: int, rate_hz: int, ring_per_t60: float = RING_PER_T60) -> int:
    """Return how many frames a note's sample has."""
    return math.ceil(ring_s(string, fret, ring_per_t60) * rate_hz)


@dataclass(frozen=True, slots=True)
class NoteVoice:
    """What the sounds of a note are multiplied by to be a `PluckedNote`: the touches as they come, and the knock."""

    soft: float
    firm: float
    aside: float
    soft_knock: float
    firm_knock: float


def note_voice(string: UkeString, fret: int, rate_hz: int) -> NoteVoice:
    """Return the voice of a note, from its beginning alone."""
    return _voice(_struck(string, fret, SHARED_FRAMES - SPARE_FRAMES, rate_hz), rate_hz)


def touch_widths_s(string: UkeString, fret: int) -> tuple[float, float]:
    """Return the widths of the softest and of the firmest stroke."""
    first_hz = string.frequency_hz(fret)
    soft_s, firm_s = (
        touch_width_s(string, fret, bright_hz(first_hz)) for bright_hz in (soft_centroid_hz, firm_centroid_hz)
    )
    return soft_s, firm_s


def aside_part(fret: int) -> float:
    """Return by which part of the sounding length a pluck may be beside its place."""
    return float(ASIDE_M / SCALE_M * 2.0 ** (fret / 12.0))


@dataclass(frozen=True, slots=True)
class _Struck:
    """A note as it comes from the model, float64 (frames,) each: the touches, and the knock under one at `LEVEL_DB`."""

    soft: NDArray[np.float64]
    firm: NDArray[np.float64]
    aside: NDArray[np.float64]
    knock: NDArray[np.float64]


def _struck(string: UkeString, fret: int, frames: int, rate_hz: int) -> _Struck:
    circle = circle_of(-(-(frames + SPARE_FRAMES) // SHARED_FRAMES) * SHARED_FRAMES - SPARE_FRAMES, rate_hz)
    first_hz = string.frequency_hz(fret)
    soft_s, firm_s = touch_widths_s(string, fret)
    told_of = int(np.searchsorted(circle.s.imag, NOTHING_LEFT / firm_s))
    s = circle.s[:told_of]
    body, admittance = (each[:told_of] for each in body_on(circle.frames, rate_hz))
    turns = loop_turns(s, string, fret)
    towards_top = string_loop(s, turns, string, fret, admittance)
    along_top = string_loop(s, turns, string, fret, admittance, along_top=True)
    uneven = towards_top * np.exp(UNEVEN_TURNS * 2j * np.pi * turns)
    ring = (1.0 - SECOND_PART - UNEVEN_PART) / (1.0 - towards_top)
    ring += SECOND_PART / (1.0 - along_top)
    ring += UNEVEN_PART / (1.0 - uneven)
    ring *= body
    force = ring * pluck_transform(s, turns, pluck_place(string.pluck_place, fret), first_hz)
    moved = ring * pluck_moved(s, turns, pluck_place(string.pluck_place, fret), aside_part(fret), first_hz)
    firm = touch_transform(s, firm_s)
    soft = touch_transform(s[: int(np.searchsorted(s.imag, NOTHING_LEFT / soft_s))], soft_s)
    return _Struck(
        circle.samples(force[: len(soft)] * soft)[:frames],
        circle.samples((force + THUD * body) * firm)[:frames],
        circle.samples(moved * firm)[:frames],
        _knock(circle.frames, rate_hz)[:frames],
    )


def _voice(struck: _Struck, rate_hz: int) -> NoteVoice:
    soft, firm = (_gain(sound, rate_hz) for sound in (struck.soft, struck.firm))
    soft_knock, firm_knock = (
        _gain(sound * gain + struck.knock, rate_hz)
        for sound, gain in ((struck.soft, soft), (struck.firm, firm))
    )
    return NoteVoice(soft * soft_knock, firm * firm_knock, firm, soft_knock, firm_knock)


def rings_along(
    string: UkeString,
    fret: int,
    other: UkeString,
    other_fret: int,
    rate_hz: int,
    cutoff_hz: float | None = None,
) -> NDArray[np.float32]:
    """Return what an open string adds to the sum of a note's soft and firm touch, float32 (frames,), for `LONGEST_S`.

    In closed form, partial by partial: where a pole p of the note's string lies near a pole q of the open one, what is
    heard is ``A · (e^(pt) − e^(qt)) / (p − q)``. So it begins from nothing, swells, and outlasts the note.

    Parameters
    ----------
    string, fret
        What is struck.
    other, other_fret
        What rings along; its fret is 0 unless the string is tuned otherwise than the model's.
    rate_hz
        Frames a second, at least 32000.
    cutoff_hz
        Corner of a low-pass that the note goes through; None for none.
    """
    poles, open_poles, amplitudes = ring_figures(string, fret, other, other_fret, rate_hz)
    if cutoff_hz is not None:
        amplitudes = amplitudes * low_pass(poles, cutoff_hz, rate_hz)
    silent, frames = round(LET_GO_S * rate_hz), round(LONGEST_S * rate_hz)
    heard = np.zeros(frames, np.float32)
    for pole, open_pole, amplitude in zip(poles, open_poles, amplitudes, strict=True):
        heard[silent:] += _damped_sine(pole, amplitude, frames - silent, rate_hz)
        heard[silent:] -= _damped_sine(open_pole, amplitude, frames - silent, rate_hz)
    return heard * _sinking(frames, frames // 3).astype(np.float32)


def ring_figures(
    string: UkeString, fret: int, other: UkeString, other_fret: int, rate_hz: int
) -> tuple[NDArray[np.complex128], NDArray[np.complex128], NDArray[np.complex128]]:
    """Return p, q and ``A / (p − q)`` of `rings_along` for each partial that two strings share, complex (meetings,)."""
    struck, free = np.nonzero(meetings(string, fret, other, other_fret))
    own, others = string_poles(string, fret), string_poles(other, other_fret)
    poles, open_poles = own.poles[struck], others.poles[free]
    open_poles = np.where(np.abs(poles - open_poles) < NEAREST_PER_S, poles - NEAREST_PER_S, open_poles)
    residues = SYMPATHY * others.residues[free] / (poles - open_poles)
    return poles, open_poles, _amplitudes(string, fret, rate_hz)[struck] * residues


def all_ring_along(string: UkeString, fret: int, rate_hz: int) -> NDArray[np.float32]:
    """Return what all other strings of the instrument add where none is stopped, as `rings_along`, (frames,)."""
    others = (STRINGS_OF_INSTRUMENTS[name] for name in string.neighbours)
    rings = [rings_along(string, fret, other, 0, rate_hz) for other in others]
    return np.asarray(np.sum(rings, axis=0), np.float32)


@functools.lru_cache(maxsize=128)
def _amplitudes(string: UkeString, fret: int, rate_hz: int) -> NDArray[np.complex128]:
    """Return the complex amplitude of each partial in the sum of both touches, each at `LEVEL_DB`, (partials,)."""
    ringing = string_poles(string, fret)
    s, first_hz = ringing.poles, string.frequency_hz(fret)
    pluck = pluck_transform(s, loop_turns(s, string, fret), pluck_place(string.pluck_place, fret), first_hz)
    force = pluck * body_response(s) * ringing.residues / rate_hz
    bins = k_gain(rate_hz, rate_hz)
    weights = np.interp(s.imag / (2.0 * np.pi), np.arange(len(bins)), bins)
    lasting = -np.expm1(2.0 * s.real * GESTURE_S) / (-2.0 * s.real * GESTURE_S)
    total = np.zeros_like(force)
    for centroid_hz in (soft_centroid_hz(first_hz), firm_centroid_hz(first_hz)):
        heard = force * np.exp(0.5 * (s * touch_width_s(string, fret, centroid_hz)) ** 2)
        level_db = LOUDNESS_OFFSET_DB + 10.0 * np.log10((2.0 * np.abs(heard) ** 2 * weights * lasting).sum())
        total += heard * 10.0 ** ((LEVEL_DB - level_db) / 20.0)
    return total


def _damped_sine(pole: complex, amplitude: complex, frames: int, rate_hz: int) -> NDArray[np.float32]:
    """Return twice the real part of ``amplitude · e^(pole t)``, (frames,): powers of a step times powers of a frame."""
    step = 256
    steps = 2.0 * amplitude * np.exp(pole * step / rate_hz * np.arange(-(-frames // step)))
    within = np.exp(pole / rate_hz * np.arange(step))
    turned = steps.astype(np.complex64)[:, None] * within.astype(np.complex64)
    return np.asarray(turned.real.reshape(-1)[:frames], np.float32)


def low_pass(s: NDArray[np.complex128], cutoff_hz: float, rate_hz: int) -> NDArray[np.complex128]:
    """Return the answer of a low-pass of second order without a resonance at Laplace variables in 1/s, (points,).

    Butterworth by the bilinear transform (R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter
    coefficients"), the one that controller 74 of the font moves in FluidSynth.
    """
    gain, first, second = low_pass_figures(cutoff_hz, rate_hz)
    delay = np.exp(-s / rate_hz)
    return np.asarray(gain * (1.0 + delay) ** 2 / (1.0 + first * delay + second * delay**2))


def low_pass_figures(cutoff_hz: float, rate_hz: int) -> tuple[float, float, float]:
    """Return g, a and b of a low-pass ``g·(1 + z)² / (1 + a·z + b·z²)``, z being a delay by a frame."""
    omega = 2.0 * math.pi * cutoff_hz / rate_hz
    alpha, cosine = math.sin(omega) / math.sqrt(2.0), math.cos(omega)
    whole = 1.0 + alpha
    return 0.5 * (1.0 - cosine) / whole, -2.0 * cosine / whole, (1.0 - alpha) / whole


def contact(which: int, rate_hz: int) -> NDArray[np.float64]:
    """Return the noise of skin that leaves a string, float64 (frames,), as loud as at most beside a `PluckedNote`.

    Parameters
    ----------
    which
        One of `CONTACTS`, from 0.
    rate_hz
        Frames a second.
    """
    frames = round(CONTACT_S * rate_hz)
    chance = random.Random(which)  # noqa: S311 - sound, no secret
    rough = np.array([2.0 * chance.random() - 1.0 for _ in range(frames)])
    smooth = np.convolve(rough, np.hanning(round(rate_hz / 4000) + 2)[1:-1], mode="same")
    scratch = np.diff(smooth, prepend=0.0)
    time_s = np.arange(frames) / rate_hz
    time_s -= CONTACT_FROM_S
    after_s = np.maximum(time_s - CONTACT_RISE_S, 0.0)
    scratch *= np.clip(time_s / CONTACT_RISE_S, 0.0, 1.0) * 10.0 ** (-3.0 * after_s / CONTACT_T60_S)
    scratch *= _sinking(frames, frames // 3)
    return np.asarray(CONTACT_PEAK * scratch / np.abs(scratch).max())


@functools.lru_cache(maxsize=32)
def _knock(frames: int, rate_hz: int) -> NDArray[np.float64]:
    """Return the knock of the body under a note at `LEVEL_DB`, (frames,); read-only."""
    knock = knock_gain(frames, rate_hz) * _pushed(frames, rate_hz)
    knock.flags.writeable = False
    return knock


def knock_gain(frames: int, rate_hz: int) -> float:
    """Return what a push of the body is multiplied by to be the knock under a note, worked out on so many frames."""
    early = _pushed(frames, rate_hz)[: round(KNOCK_WITHIN_S * rate_hz)]
    return KNOCK_RMS / math.sqrt(float((early**2).mean()))


def _pushed(frames: int, rate_hz: int) -> NDArray[np.float64]:
    return circle_of(frames - SPARE_FRAMES, rate_hz).samples(knock_transform(frames, rate_hz))


def _gain(sound: NDArray[np.float64], rate_hz: int) -> float:
    """Return what brings a note to `LEVEL_DB`."""
    return float(10.0 ** ((LEVEL_DB - k_weighted_level_db(sound, rate_hz)) / 20.0))


def _sinking(frames: int, last: int) -> NDArray[np.float64]:
    """Return 1 for all frames but the last ones, where it sinks to nothing by half a cosine, (frames,)."""
    fall = np.ones(frames)
    fall[frames - last :] = 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, last))
    return fall
