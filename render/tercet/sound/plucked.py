"""A plucked note as samples: string, touch and body put together, soft and firm, moving together.

Each note is voiced as an instrument maker would: the width of the soft and of the firm stroke is chosen so that the
note's brightness lies on a line over pitch, and its level on a constant. So one velocity sounds alike everywhere on the
neck, and the same step of velocity brightens every note.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.sound.k_weighting import GESTURE_S
from tercet.sound.note_measures import k_weighted_level_db
from tercet.sound.string_model import (
    NARROWEST_S,
    SPARE_FRAMES,
    WIDEST_S,
    UkeString,
    body_on,
    body_response,
    circle_of,
    loop_turns,
    open_strings_answer,
    partial_decays_per_s,
    partials_hz,
    pluck_place,
    pluck_transform,
    string_loop,
    t60_s,
    touch_transform,
)

__all__ = [
    "SHARED_FRAMES",
    "PluckedNote",
    "firm_centroid_hz",
    "plucked_note",
    "ring_s",
    "soft_centroid_hz",
    "touch_width_s",
]

SECOND_PART = 0.27
"""Part of the second polarisation in a stroke of the thumb, which pushes mostly towards the top."""

RING_PER_T60 = 1.16
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

THUD = 0.02
"""Part of the body's own knock in a firm stroke: the thumb that lands on the next string."""

LEVEL_DB = -25.4
"""K-weighted level over 400 ms that every sample is brought to, in LUFS for one channel."""


@dataclass(frozen=True, slots=True)
class PluckedNote:
    """One note, softest and firmest, float64 (frames,) each, equally loud, full scale being 1."""

    soft: NDArray[np.float64]
    firm: NDArray[np.float64]


def ring_s(string: UkeString, fret: int) -> float:
    """Return how long a note's sample is."""
    return RING_PER_T60 * t60_s(string, fret)


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


def plucked_note(string: UkeString, fret: int, rate_hz: int) -> PluckedNote:
    """Return a note in both touches.

    Parameters
    ----------
    string, fret
        What sounds, fret 0 or more.
    rate_hz
        Frames a second, at least 32000.
    """
    frames = math.ceil(ring_s(string, fret) * rate_hz)
    circle = circle_of(-(-(frames + SPARE_FRAMES) // SHARED_FRAMES) * SHARED_FRAMES - SPARE_FRAMES, rate_hz)
    s, first_hz = circle.s, string.frequency_hz(fret)
    body, admittance = body_on(circle.frames, rate_hz)
    turns = loop_turns(s, string, fret)
    towards_top = string_loop(s, turns, string, fret, admittance)
    along_top = string_loop(s, turns, string, fret, None)
    pluck = pluck_transform(s, turns, pluck_place(string.pluck_place, fret), first_hz)
    force = pluck * ((1.0 - SECOND_PART) / (1.0 - towards_top) + SECOND_PART / (1.0 - along_top))
    force = force * open_strings_answer(circle.frames, rate_hz, string.neighbours)
    soft = touch_transform(s, touch_width_s(string, fret, soft_centroid_hz(first_hz)))
    firm = touch_transform(s, touch_width_s(string, fret, firm_centroid_hz(first_hz)))
    soft_sound = circle.samples(force * body * soft)[:frames]
    firm_sound = circle.samples((force + THUD) * body * firm)[:frames]
    return PluckedNote(_finished(soft_sound, rate_hz), _finished(firm_sound, rate_hz))


def _finished(sound: NDArray[np.float64], rate_hz: int) -> NDArray[np.float64]:
    """Bring a note to `LEVEL_DB` and let its end sink to nothing by half a cosine."""
    frames = round(FADE_S * rate_hz)
    sound = sound * 10.0 ** ((LEVEL_DB - k_weighted_level_db(sound, rate_hz)) / 20.0)
    sound[-frames:] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, frames))
    return sound
