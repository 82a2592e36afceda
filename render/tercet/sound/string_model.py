"""One plucked string: tuning, stiffness, and how each partial dies away.

A digital waveguide, evaluated in the frequency domain: what goes once round the string comes back multiplied by
``loop(s)``, so a pluck rings as ``1 / (1 − loop(s))``. Sources: J. O. Smith, Physical Audio Signal Processing (2010),
on the single-delay-loop string; N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 2nd edition
(1998), 2.18 (stiffness) and 9.7 (losses in nylon); G. Weinreich, "Coupled piano strings", JASA 62 (1977), on two-stage
decay.
Figures are plausible for nylon and fluorocarbon and tuned by measuring what is heard, not taken from one instrument.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tercet.sound.body import bridge_admittance
from tercet.sound.circle import SPARE_FRAMES, circle_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "STRINGS_OF_INSTRUMENTS",
    "UkeString",
    "loop_turns",
    "open_strings_answer",
    "partial_decays_per_s",
    "partials_hz",
    "stiffness_at",
    "string_loop",
    "t60_s",
]

DECAY_PER_FRET = 0.078
"""T60 falls by this many octaves a fret: the shorter string gives its energy to the bridge more often."""

STIFFNESS_OCTAVES_PER_FRET = 1 / 6
"""Inharmonicity grows as the square of the shortening (Fletcher and Rossing, 2.18): by 2^(1/6) a fret."""

BRIDGE_LOSS = 0.16
"""Part of the string's own loss that a strong body resonance adds."""

SECOND_POLARISATION_T60 = 1.75
"""The polarisation along the top moves the bridge less and rings longer (Weinreich 1977), by this factor."""

DETUNING_CENTS = 0.2
"""How far apart the two polarisations are; the mean is in tune. More would be heard as a drift over the ring."""

SYMPATHY = 0.00025
"""How strongly an open string answers to another through the bridge: about 29 dB below a partial that they share."""

LN_1000 = math.log(1000.0)


@dataclass(frozen=True, slots=True)
class UkeString:
    """A string as it is strung, without a player.

    Parameters
    ----------
    name
        What a preset is called after.
    open_midi
        MIDI key of the open string.
    t60_s
        Time for the open string's fundamental to fall by 60 dB, first polarisation.
    loss_db_per_s_khz2
        Loss that grows with the square of frequency, in dB/s at 1 kHz: air and the string's inner friction.
    stiffness
        Inharmonicity coefficient B of the open string, 1.
    pluck_place
        Where the thumb plucks the open string, as a part of its length from the bridge.
    neighbours
        The open strings beside it that answer through the bridge, by name.
    """

    name: str
    open_midi: int
    t60_s: float
    loss_db_per_s_khz2: float
    stiffness: float
    pluck_place: float
    neighbours: tuple[str, ...]

    def frequency_hz(self, fret: int) -> float:
        """Return the fundamental at a fret, equal temperament at A4 = 440 Hz."""
        return float(440.0 * 2.0 ** ((self.open_midi + fret - 69) / 12))


STRINGS_OF_INSTRUMENTS: dict[str, UkeString] = {
    string.name: string
    for string in (
        UkeString("A4", 69, 2.15, 3.0, 2.5e-5, 0.19, ("G4", "C4", "E4")),
        UkeString("E4", 64, 2.50, 3.0, 3.5e-5, 0.18, ("G4", "C4", "A4")),
        UkeString("C4", 60, 2.75, 3.0, 6.0e-5, 0.17, ("G4", "E4", "A4")),
        UkeString("G4", 67, 2.25, 3.0, 2.8e-5, 0.19, ("C4", "E4", "A4")),
        UkeString("low G3", 55, 2.80, 2.6, 4.5e-5, 0.16, ("C4", "E4", "A4")),
        UkeString("baritone E4", 64, 2.60, 2.8, 2.6e-5, 0.17, ("baritone D3", "baritone G3", "baritone B3")),
        UkeString("baritone B3", 59, 2.75, 2.7, 3.4e-5, 0.17, ("baritone D3", "baritone G3", "baritone E4")),
        UkeString("baritone G3", 55, 2.80, 2.5, 4.5e-5, 0.16, ("baritone D3", "baritone B3", "baritone E4")),
        UkeString("baritone D3", 50, 2.85, 2.4, 5.0e-5, 0.15, ("baritone G3", "baritone B3", "baritone E4")),
    )
}
"""The strings of a ukulele with high or low fourth string and of a baritone, by name."""


def t60_s(string: UkeString, fret: int) -> float:
    """Return the fundamental's T60, first polarisation: ``T60 · 2^(−DECAY_PER_FRET · fret)``."""
    return float(string.t60_s * 2.0 ** (-DECAY_PER_FRET * fret))


def partials_hz(string: UkeString, fret: int, highest_hz: float = 14_000.0) -> NDArray[np.float64]:
    """Return the partials up to a frequency: ``f_n = n · f₁ · √((1 + B n²)/(1 + B))`` (Fletcher and Rossing, 2.18)."""
    first, stiffness = string.frequency_hz(fret), stiffness_at(string, fret)
    numbers = np.arange(1, max(int(highest_hz / first), 1) + 1)
    return np.asarray(first * numbers * np.sqrt((1.0 + stiffness * numbers**2) / (1.0 + stiffness)))


def partial_decays_per_s(string: UkeString, fret: int) -> NDArray[np.float64]:
    """Return how fast each of `partials_hz` dies away, first polarisation, no bridge, in nepers a second."""
    base = LN_1000 / t60_s(string, fret)
    khz2 = (partials_hz(string, fret) / 1000.0) ** 2
    return np.asarray(base + string.loss_db_per_s_khz2 * LN_1000 / 60.0 * (khz2 - khz2[0]))


def stiffness_at(string: UkeString, fret: int) -> float:
    """Return the inharmonicity coefficient B at a fret: B grows as the sounding length shrinks."""
    return float(string.stiffness * 2.0 ** (STIFFNESS_OCTAVES_PER_FRET * fret))


def loop_turns(s: NDArray[np.complex128], string: UkeString, fret: int) -> NDArray[np.complex128]:
    """Return how many turns of phase a wave makes once round a stiff string, (points,).

    Partials of a stiff string lie at ``f_n = n · f · √((1 + B n²)/(1 + B))`` (Fletcher and Rossing, 2.18; here the
    first is in tune). Solved for n it is the phase, in turns, at any frequency: a whole number at each partial.
    """
    stiffness = stiffness_at(string, fret)
    unstretched = s * (math.sqrt(1.0 + stiffness) / (2j * np.pi * string.frequency_hz(fret)))
    # √ of 1 + 4 B f² without losing figures at low frequencies: n² = 2 f² / (1 + √(1 + 4 B f²))
    squared = unstretched * unstretched
    return np.asarray(unstretched * np.sqrt(2.0 / (1.0 + np.sqrt(1.0 + 4.0 * stiffness * squared))))


def string_loop(
    s: NDArray[np.complex128],
    turns: NDArray[np.complex128],
    string: UkeString,
    fret: int,
    admittance: NDArray[np.complex128] | None,
) -> NDArray[np.complex128]:
    """Return what comes back after once round the string, (points,).

    ``loop = exp(−α(f)/f₁ − 2πj·n(f))`` with ``α = ln 1000/T60 · (1 + BRIDGE_LOSS · (Y − Y₁)) + loss · (f² − f₁²)`` in
    nepers a second. The imaginary part of Y moves the pitch: the phase is shifted back so that the fundamental stays
    exact.

    Parameters
    ----------
    s
        Laplace variables in 1/s, their real part small against the frequency.
    turns
        From `loop_turns` for this string and fret.
    string, fret
        What sounds.
    admittance
        `bridge_admittance` at `s` for the polarisation towards the top; None for the one along it, which is longer and
        free of the body's pull. They are `DETUNING_CENTS` apart.
    """
    first_hz = string.frequency_hz(fret)
    along_top = admittance is None
    stretch = 2.0 ** (DETUNING_CENTS * (-0.5 if along_top else 0.5) / 1200.0)
    base = LN_1000 / t60_s(string, fret) / (SECOND_POLARISATION_T60 if along_top else 1.0)
    per_khz2 = string.loss_db_per_s_khz2 * LN_1000 / 60.0
    khz2 = s * s * (-1.0 / (2000.0 * np.pi) ** 2)
    alpha = base - per_khz2 * (first_hz / 1000.0) ** 2 + per_khz2 * khz2
    if admittance is not None:
        pull = complex(bridge_admittance(np.array([2j * np.pi * first_hz]))[0])
        alpha = alpha + base * BRIDGE_LOSS * (admittance - pull.real)
        stretch *= 1.0 - base * BRIDGE_LOSS * pull.imag / (2.0 * np.pi * first_hz)
    return np.asarray(np.exp(alpha / -first_hz - 2j * np.pi * stretch * turns), np.complex128)


@functools.lru_cache(maxsize=64)
def open_strings_answer(frames: int, rate_hz: int, names: tuple[str, ...]) -> NDArray[np.complex128]:
    """Return the factor by which open strings that ring along change the bridge's force, (points,).

    ``1 + SYMPATHY · Σ 1 / (1 − loop)`` on the circle of `frames` and `rate_hz`: a light ring where partials meet.
    """
    s = circle_of(frames - SPARE_FRAMES, rate_hz).s
    answer = 1.0 + 0.0 * s
    for name in names:
        other = STRINGS_OF_INSTRUMENTS[name]
        loop = string_loop(s, loop_turns(s, other, 0), other, 0, bridge_admittance(s))
        answer = answer + SYMPATHY / (1.0 - loop)
    answer.flags.writeable = False
    return answer
