"""What is struck rather than plucked: wood, bell, and damped strings under a flat hand (the chop).

All are the same family as the strings: damped oscillators, or strings with a hand on them, set going by a touch of
some width and sampled on a circle. Sources: N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 2nd
edition (1998): 19.1 (partials of wooden bars), 21.4 (partials of small bells), 3.9 and 2.10 (strikes and how long they
last).
"""

from __future__ import annotations

import functools
import random
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tercet.performing import Click
from tercet.sound.string_model import (
    LET_GO_S,
    STRINGS_OF_INSTRUMENTS,
    UkeString,
    body_response,
    bridge_admittance,
    circle_of,
    loop_turns,
    pluck_transform,
    string_loop,
    touch_transform,
)

__all__ = [
    "BELL",
    "BELL_PEAK",
    "CHOP_STRENGTHS",
    "PEAK",
    "WOOD",
    "StruckBody",
    "beater_noise",
    "chop",
    "cue_stem",
    "damped_string",
    "knock",
    "strike",
    "turn_bell",
]


@dataclass(frozen=True, slots=True)
class StruckBody:
    """Something that rings in a few partials when it is struck.

    Parameters
    ----------
    partials
        Frequency in Hz, time to fall by 60 dB in seconds, relative amplitude.
    width_s
        Standard deviation of the blow in time, seconds: a soft beater takes upper partials away.
    noise
        Part of the beater's own short noise, 1 being the strongest partial.
    length_s
        When it has sunk to nothing.
    """

    partials: tuple[tuple[float, float, float], ...]
    width_s: float
    noise: float
    length_s: float


WOOD = StruckBody(((1010.0, 0.070, 1.0), (2660.0, 0.032, 0.35)), 0.00005, 0.25, 0.12)
"""A small wooden block. A bar's second partial lies about 2.6 to 2.8 times above its first."""

BELL = StruckBody(
    ((1568.0, 0.90, 1.0), (3136.0, 0.60, 0.40), (3763.0, 0.45, 0.28), (4704.0, 0.30, 0.15)), 0.00006, 0.0, 0.7
)
"""A small hand bell: strike note on G6, octave, minor tenth and twelfth above it."""

NOISE_T60_S, NOISE_RISE_S = 0.012, 0.001
"""How the beater's noise dies away, and how soon it is there."""

STRIKE_SINKING, CHOP_SINKING = 0.3, 0.4
"""The last part of a blow and of a chop, in which it sinks to nothing."""

CHOP_STRENGTHS: tuple[tuple[str, float, float], ...] = (
    ("soft", 0.00035, 0.010),
    ("middle", 0.00018, 0.007),
    ("firm", 0.00008, 0.005),
)
"""Strength of a chop, width of its touch in seconds, and seconds from string to string."""

CHOP_LENGTH_S = 0.22
"""A chop has sunk to nothing after this."""

CHOP_T60_S = 0.096
"""A string under a flat hand falls by 60 dB in this time."""

CHOP_STRINGS = ("G4", "C4", "E4", "A4")
"""Strings of a chop as a downstroke meets them."""

SLAP = 0.5
"""Part of the hand that lands on the strings and the body."""

UP_THINNING = 0.55
"""An upstroke meets the first strings, which are thin, with more force: each further one with this part of it."""

HAND_PLACE = 0.31
"""Where a damped string is struck, as a part of its length."""


def strike(body: StruckBody, rate_hz: int, ratio: float = 1.0) -> NDArray[np.float64]:
    """Return one blow, float64 (frames,), its peak 1; it begins at once.

    Each partial is a damped sine, ``ω / ((s + α)² + ω²)``, under a Gaussian blow.

    Parameters
    ----------
    body
        What is struck.
    rate_hz
        Frames a second, at least 16000.
    ratio
        Factor on all its frequencies.
    """
    frames, early = round(body.length_s * rate_hz), round((LET_GO_S - 6.0 * body.width_s) * rate_hz)
    circle = circle_of(frames + early, rate_hz)
    rings = 0.0 * circle.s
    for hertz, t60_s, amplitude in body.partials:
        omega, alpha = 2.0 * np.pi * hertz * ratio, np.log(1000.0) / t60_s
        rings = rings + amplitude * omega / ((circle.s + alpha) ** 2 + omega**2)
    sound = circle.samples(rings * touch_transform(circle.s, body.width_s))[early : early + frames]
    sound = sound / np.abs(sound).max()
    if body.noise:
        sound = sound + body.noise * beater_noise(frames, rate_hz)
    fall = np.minimum((frames - np.arange(frames)) / (STRIKE_SINKING * frames), 1.0)
    sound = sound * (0.5 - 0.5 * np.cos(np.pi * fall))
    return np.asarray(sound / np.abs(sound).max())


def chop(strength: int, *, up: bool, rate_hz: int) -> NDArray[np.float64]:
    """Return a chop on four damped strings, float64 (frames,), its peak 1.

    Parameters
    ----------
    strength
        Index in `CHOP_STRENGTHS`: 0 soft, 1 middle, 2 firm.
    up
        An upstroke, from string 1 on; else a downstroke from string 4 on.
    rate_hz
        Frames a second, at least 32000.
    """
    _, width_s, gap_s = CHOP_STRENGTHS[strength]
    frames = round(CHOP_LENGTH_S * rate_hz)
    circle = circle_of(frames, rate_hz)
    s = circle.s
    met = CHOP_STRINGS[::-1] if up else CHOP_STRINGS
    force = 0.0 * s
    for number, name in enumerate(met):
        damped = damped_string(name)
        turns = loop_turns(s, damped, 0)
        loop = string_loop(s, turns, damped, 0, bridge_admittance(s))
        hit = pluck_transform(s, turns, HAND_PLACE, damped.frequency_hz(0)) / (1.0 - loop)
        part = UP_THINNING**number if up else 1.0
        force = force + part * hit * np.exp(-s * gap_s * number)
    slap = SLAP * len(met) * np.exp(-s * gap_s * (len(met) - 1))
    sound = circle.samples((force + slap) * body_response(s) * touch_transform(s, width_s))[:frames]
    fall = np.minimum((frames - np.arange(frames)) / (CHOP_SINKING * frames), 1.0)
    sound = sound * (0.5 - 0.5 * np.cos(np.pi * fall))
    return np.asarray(sound / np.abs(sound).max())


def damped_string(name: str) -> UkeString:
    """Return a string under a flat hand."""
    return replace(STRINGS_OF_INSTRUMENTS[name], t60_s=CHOP_T60_S)


def beater_noise(frames: int, rate_hz: int) -> NDArray[np.float64]:
    """Return a short noise that is the same everywhere, float64 (frames,), up to 1 high and ending near 4 kHz."""
    chance = random.Random(20)  # noqa: S311 - sound, no secret
    rough = np.array([2.0 * chance.random() - 1.0 for _ in range(frames)])
    window = np.hanning(round(rate_hz / 2000) + 2)[1:-1]
    time_s = np.arange(frames) / rate_hz
    after_s = np.maximum(time_s - NOISE_RISE_S, 0.0)
    rise = np.minimum(time_s / NOISE_RISE_S, 1.0)
    soft = np.convolve(rough, window, mode="same") * rise * 10.0 ** (-3.0 * after_s / NOISE_T60_S)
    return np.asarray(soft / np.abs(soft).max())


# ---- cues: the count-in's wooden knock, and the bell that says that the turn changes


PEAK = 0.35
"""Largest sample of a knock, full scale being 1: no song's gain changes it. K-weighted over 400 ms that is about
−28 LUFS, level with a quiet strum of a finished track."""

BELL_PEAK = 0.2
"""Largest sample of the bell: it rings longer, and needs less."""

FIRST_OF_BAR_RATIO = 4 / 3
"""The first stroke of a bar is a fourth higher."""


def cue_stem(clicks: Iterable[Click], length_frames: int, rate_hz: int) -> NDArray[np.float32]:
    """Return the count-in as audio.

    Parameters
    ----------
    clicks
        Strokes; those past the end are left out, the last may be cut by it.
    length_frames
        Frames of the result.
    rate_hz
        Frames a second.

    Returns
    -------
    float32 (length_frames, 2)
    """
    stem = np.zeros((length_frames, 2), np.float32)
    for click in clicks:
        start = max(0, round(click.onset_s * rate_hz))
        space = stem[start : start + round(WOOD.length_s * rate_hz)]
        space += knock(click.first, rate_hz)[: len(space), None]
    return stem


@functools.cache
def knock(first: bool, rate_hz: int) -> NDArray[np.float32]:
    """Return one knock, mono float32 (frames,), at most `PEAK` high; read-only.

    Parameters
    ----------
    first
        Whether it is a bar's first, and so higher.
    rate_hz
        Frames a second, at least 16000.
    """
    sound = strike(WOOD, rate_hz, FIRST_OF_BAR_RATIO if first else 1.0)
    knocked = np.asarray(PEAK * sound, np.float32)
    knocked.flags.writeable = False
    return knocked


@functools.cache
def turn_bell(rate_hz: int) -> NDArray[np.float32]:
    """Return the cue that the turn changes, mono float32 (frames,), at most `BELL_PEAK` high; read-only."""
    rung = np.asarray(BELL_PEAK * strike(BELL, rate_hz), np.float32)
    rung.flags.writeable = False
    return rung
