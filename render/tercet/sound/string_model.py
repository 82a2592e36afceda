"""A plucked string and all that makes its sound: string, thumb and body, and the circle on which they become samples.

**The string** is a digital waveguide, evaluated in the frequency domain: what goes once round it comes back
multiplied by ``loop(s)``, so a pluck rings as ``1 / (1 − loop(s))``. Sources: J. O. Smith, Physical Audio Signal
Processing (2010), on the single-delay-loop string; N. H. Fletcher and T. D. Rossing, The Physics of Musical
Instruments, 2nd edition (1998), 2.18 (stiffness) and 9.7 (losses in nylon); G. Weinreich, "Coupled piano strings",
JASA 62 (1977), on two-stage decay. Figures are plausible for nylon and fluorocarbon and tuned by measuring what is
heard, not taken from one instrument.

**The thumb.** A string let go at a part p of its length moves the bridge with ``(1 − e^(−2πj n p))`` at partial n
(Fletcher and Rossing, 2.10), falling as 1/n. Flesh is wide and lets go slowly: that takes the upper partials away by
a Gaussian, which has no phase of its own, so a soft and a firm stroke of one string move together and can be mixed
without cancelling. That the width of the finger acts as such a low-pass: K. Bradley, M.-H. Cheng and V. Stonick,
"Automated analysis and computationally efficient synthesis of acoustic guitar strings and body", IEEE WASPAA (1995).

**The body.** A small box has a few resonances: the air inside at about 270 Hz, the top from about 390 Hz on, and many
weak ones above. Each is a damped oscillator, ``(s ω/Q) / (s² + s ω/Q + ω²)``, 1 at its peak (Fletcher and Rossing,
9.7, modal description of a guitar's body). The list is plausible for a concert size, not measured from one.

**The circle.** A linear system that starts at rest is known by its Laplace transform. Sampled on a circle of radius r
> 1 in the z-plane and transformed back by one FFT, it gives the system's response times r^−t; multiplying by r^t
gives the response itself. What still sounds after the last frame folds back onto the first, but `FOLDED_DB` weaker,
because r is chosen so. Hence delays need not be whole frames, and any smooth loss and dispersion is exact. Sources:
L. R. Rabiner, R. W. Schafer and C. M. Rader, "The Chirp z-Transform Algorithm", Bell System Technical Journal 48
(1969), on contours other than the unit circle; C. F. Chen, "Numerical inversion of Laplace transforms by FFT" (damped
Fourier series). The functions must be analytic (no absolute values, no corners): what isn't rings before its
beginning, and that is folded onto the end and raised by `FOLDED_DB` there. The last `SPARE_FRAMES` are dropped for
the same reason.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BODY_MODES",
    "FOLDED_DB",
    "LET_GO_S",
    "SPARE_FRAMES",
    "STRINGS_OF_INSTRUMENTS",
    "SYMPATHY",
    "UNEVEN_CENTS",
    "WIDEST_S",
    "Circle",
    "LoopFigures",
    "StringPoles",
    "UkeString",
    "body_on",
    "body_response",
    "bridge_admittance",
    "circle_of",
    "knock_transform",
    "loop_figures",
    "loop_turns",
    "meetings",
    "partial_decays_per_s",
    "partials_hz",
    "pluck_moved",
    "pluck_place",
    "pluck_transform",
    "stiffness_at",
    "string_loop",
    "string_poles",
    "t60_s",
    "touch_transform",
]

DECAY_PER_FRET = 0.078
"""T60 falls by this many octaves a fret: the shorter string gives its energy to the bridge more often."""

STIFFNESS_OCTAVES_PER_FRET = 1 / 6
"""Inharmonicity grows as the square of the shortening (Fletcher and Rossing, 2.18): by 2^(1/6) a fret."""

BRIDGE_LOSS = 0.16
"""Part of the string's own loss that a strong body resonance adds."""

SECOND_POLARISATION_T60 = 3.13
"""The polarisation along the top moves the bridge less and rings longer (Weinreich 1977), by this factor."""

DETUNING_CENTS = 0.2
"""How far apart the two polarisations are; the mean is in tune. More would be heard as a drift over the ring."""

UNEVEN_CENTS = 12.5
"""No string is quite round: a small part of what moves towards the top is so much sharper, and beats with the rest."""

SYMPATHY = 0.00019
"""How strongly an open string answers to another through the bridge: about 31 dB below a partial that they share."""

MEETING_PARTIALS, MEETING_CENTS = 8, 10.0
"""Strings answer one another where one of so many partials of each lies so near to the other's."""

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
        UkeString("A4", 69, 2.20, 3.0, 2.5e-5, 0.19, ("G4", "C4", "E4")),
        UkeString("E4", 64, 2.50, 3.0, 3.5e-5, 0.18, ("G4", "C4", "A4")),
        UkeString("C4", 60, 2.83, 3.0, 6.0e-5, 0.17, ("G4", "E4", "A4")),
        UkeString("G4", 67, 2.26, 3.0, 2.8e-5, 0.19, ("C4", "E4", "A4")),
        UkeString("low G3", 55, 2.64, 2.6, 4.5e-5, 0.16, ("C4", "E4", "A4")),
        UkeString("baritone E4", 64, 2.52, 2.8, 2.6e-5, 0.17, ("baritone D3", "baritone G3", "baritone B3")),
        UkeString("baritone B3", 59, 2.60, 2.7, 3.4e-5, 0.17, ("baritone D3", "baritone G3", "baritone E4")),
        UkeString("baritone G3", 55, 2.64, 2.5, 4.5e-5, 0.16, ("baritone D3", "baritone B3", "baritone E4")),
        UkeString("baritone D3", 50, 2.69, 2.4, 5.0e-5, 0.15, ("baritone G3", "baritone B3", "baritone E4")),
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
    admittance: NDArray[np.complex128],
    *,
    along_top: bool = False,
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
        `bridge_admittance` at `s`.
    along_top
        Whether it is the polarisation along the top, which is longer, and `DETUNING_CENTS` lower. The body pulls at
        both alike: if not, a partial near one of its modes would vanish and come again, where one dies away before
        the other.
    """
    first_hz = string.frequency_hz(fret)
    going = loop_figures(string, fret, along_top=along_top)
    khz2 = s * s * (-1.0 / (2000.0 * np.pi) ** 2)
    alpha = going.decay_per_s + going.decay_per_khz2 * khz2 + going.bridge_per_s * admittance
    return np.asarray(np.exp(alpha / -first_hz - 2j * np.pi * going.stretch * turns), np.complex128)


@dataclass(frozen=True, slots=True)
class LoopFigures:
    """What `string_loop` works with.

    Parameters
    ----------
    decay_per_s, decay_per_khz2, bridge_per_s
        α without the bridge, and what it grows by with the square of kHz and with the bridge's admittance.
    stretch
        Factor on the turns.
    """

    decay_per_s: float
    decay_per_khz2: float
    bridge_per_s: float
    stretch: float


def loop_figures(string: UkeString, fret: int, *, along_top: bool = False) -> LoopFigures:
    """Return the figures of a string's loop; parameters as in `string_loop`."""
    first_hz = string.frequency_hz(fret)
    stretch = 2.0 ** (DETUNING_CENTS * (-0.5 if along_top else 0.5) / 1200.0)
    base = LN_1000 / t60_s(string, fret)
    per_khz2 = string.loss_db_per_s_khz2 * LN_1000 / 60.0
    bridge = base * BRIDGE_LOSS
    pull = _pull_at(first_hz)
    decay = base / (SECOND_POLARISATION_T60 if along_top else 1.0)
    decay -= per_khz2 * (first_hz / 1000.0) ** 2 + bridge * pull.real
    return LoopFigures(
        decay, per_khz2, bridge, stretch * (1.0 - bridge * pull.imag / (2.0 * np.pi * first_hz))
    )


@functools.lru_cache(maxsize=256)
def _pull_at(frequency_hz: float) -> complex:
    """Return how the body pulls at a string: `bridge_admittance` at a frequency."""
    return complex(bridge_admittance(np.array([2j * np.pi * frequency_hz]))[0])


def meetings(string: UkeString, fret: int, other: UkeString, other_fret: int) -> NDArray[np.bool_]:
    """Return which of the first partials of two strings meet, (partials, others): there one rings with the other."""
    own, others = (partials_hz(*each)[:MEETING_PARTIALS] for each in ((string, fret), (other, other_fret)))
    apart_cents = 1200.0 * np.abs(np.log2(own[:, None] / others[None, :]))
    return np.asarray(apart_cents <= MEETING_CENTS)


@dataclass(frozen=True, slots=True)
class StringPoles:
    """Where a string rings, and how strongly: ``1 / (1 − loop) ≈ residue / (s − pole)``, complex (partials,) in 1/s."""

    poles: NDArray[np.complex128]
    residues: NDArray[np.complex128]


POLE_ROUNDS = 5
"""Each round makes the distance to a pole at least ten times smaller; they begin within a cent."""


@functools.lru_cache(maxsize=256)
def string_poles(string: UkeString, fret: int) -> StringPoles:
    """Return the poles of a string, first polarisation, by Newton's method; arrays are read-only."""
    first_hz = string.frequency_hz(fret)

    def loop(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return string_loop(s, loop_turns(s, string, fret), string, fret, bridge_admittance(s))

    undamped = 2j * np.pi * partials_hz(string, fret)
    poles = np.asarray(undamped - partial_decays_per_s(string, fret), np.complex128)
    for _ in range(POLE_ROUNDS):
        poles = np.asarray(poles + first_hz * np.log(loop(poles)), np.complex128)
    further, nearer = (loop(np.asarray(poles + step_per_s, np.complex128)) for step_per_s in (0.5, -0.5))
    residues = np.asarray(-1.0 / (further - nearer), np.complex128)
    for array in (poles, residues):
        array.flags.writeable = False
    return StringPoles(poles, residues)


# ---- the body: what the bridge does to the string, and what is heard of the bridge's force


BODY_MODES: tuple[tuple[float, float, float], ...] = (
    (268.0, 6.0, 0.55), (392.0, 6.0, 0.60), (545.0, 7.0, 0.40), (690.0, 7.0, 0.40), (880.0, 8.0, 0.42),
    (1120.0, 9.0, 0.42), (1430.0, 10.0, 0.42), (1820.0, 11.0, 0.42), (2350.0, 12.0, 0.42), (3050.0, 12.0, 0.40),
    (4000.0, 11.0, 0.34), (5200.0, 10.0, 0.28),
)  # fmt: skip
"""Frequency in Hz, sharpness Q, and part in what is heard. All parts are positive, as in a body driven and heard at
one place; of signs that alternate, some notes would lose their fundamental in the holes between the modes."""

MOVING_MODES = 6
"""So many, from the lowest on, take energy from the string that one can hear."""

KNOCK_PARTS, KNOCK_SHARPNESS = (0.55, 0.15, 0.10, 0.10), 13.0
"""A push of the hand moves the lowest modes of the body alone, that of the air most. They ring a little longer than a
string lets them. More of the upper ones would only make peaks."""

KNOCK_S = 0.0006
"""Standard deviation of that push in seconds."""

DIRECT = 0.5
"""What the strings and the top near the bridge give off without a resonance; it keeps notes between modes alive."""

RADIATION_HZ = 700.0
"""A source smaller than a wavelength radiates in proportion to frequency; above this it no longer is small
(Fletcher and Rossing, 7.1)."""

SOONER_RADIATED = 0.2
"""The second corner of that, as a part of the first."""


def _mode(s: NDArray[np.complex128], frequency_hz: float, sharpness: float) -> NDArray[np.complex128]:
    """Return one damped oscillator at Laplace variables in 1/s, (points,): 1 at its peak."""
    omega = 2.0 * math.pi * frequency_hz
    damped = s * (omega / sharpness)
    return damped / (s * s + damped + omega * omega)


def body_response(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return what is heard of a force at the bridge, (points,): the direct sound and all modes, as they radiate."""
    return _heard(s, bridge_admittance(s))


def bridge_admittance(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return how willingly the bridge moves, (points,): modes as they take energy from the string, 0 between them."""
    return _modes(s, BODY_MODES[:MOVING_MODES])


@functools.lru_cache(maxsize=32)
def knock_transform(frames: int, rate_hz: int) -> NDArray[np.complex128]:
    """Return what is heard when the hand pushes the body, on the circle of `frames` and `rate_hz`, (points,)."""
    s = circle_of(frames - SPARE_FRAMES, rate_hz).s
    lowest = tuple(
        (hertz, KNOCK_SHARPNESS, part) for (hertz, *_), part in zip(BODY_MODES, KNOCK_PARTS, strict=False)
    )
    knock = touch_transform(s, KNOCK_S) * _radiated(s, _modes(s, lowest))
    knock.flags.writeable = False
    return np.asarray(knock)


@functools.lru_cache(maxsize=32)
def body_on(frames: int, rate_hz: int) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return `body_response` and `bridge_admittance` on the circle of `frames` and `rate_hz`, each (points,)."""
    s = circle_of(frames - SPARE_FRAMES, rate_hz).s
    admittance = bridge_admittance(s)
    body = _heard(s, admittance)
    for array in (body, admittance):
        array.flags.writeable = False
    return body, admittance


def _heard(s: NDArray[np.complex128], admittance: NDArray[np.complex128]) -> NDArray[np.complex128]:
    return _radiated(s, DIRECT + admittance + _modes(s, BODY_MODES[MOVING_MODES:]))


def _radiated(s: NDArray[np.complex128], moved: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return what is heard of a body that moves, (points,)."""
    corner = 2.0 * math.pi * RADIATION_HZ
    return moved * (s / (s + corner)) * (s / (s + SOONER_RADIATED * corner))


def _modes(
    s: NDArray[np.complex128], modes: tuple[tuple[float, float, float], ...]
) -> NDArray[np.complex128]:
    total = 0.0 * s
    for frequency_hz, sharpness, part in modes:
        total += part * _mode(s, frequency_hz, sharpness)
    return total


# ---- the thumb: where it plucks, and how soft or firm


LET_GO_S = 0.002
"""When the string is let go: the middle of the stroke, after the sample's beginning."""

FURTHEST_PLACE = 0.23
"""The thumb never plucks nearer to the middle of the sounding string than this."""

FOLLOWS_FRET = 0.35
"""How much of the string's shortening the thumb leaves as it is; for the rest it moves towards the bridge."""

CORNER_PARTIAL = 6.0
"""From this partial on, the pluck falls as 1/n."""

NARROWEST_S, WIDEST_S = 0.000027, 0.0011
"""Standard deviation of the firmest and the softest stroke, in seconds."""


def pluck_place(open_place: float, fret: int) -> float:
    """Return where the thumb plucks, as a part of the sounding length from the bridge.

    The thumb mostly stays where it is while the string gets shorter: ``p · 2^(FOLLOWS_FRET · fret/12)``, up to
    `FURTHEST_PLACE`.
    """
    return float(min(open_place * 2.0 ** (FOLLOWS_FRET * fret / 12.0), FURTHEST_PLACE))


def pluck_transform(
    s: NDArray[np.complex128], turns: NDArray[np.complex128], place: float, frequency_hz: float
) -> NDArray[np.complex128]:
    """Return the force on the bridge of a string let go at a place, before it rings, (points,).

    ``(1 − e^(−2πj n p)) / (1 + s/(2π·c·f₁))``: the comb of the place, and the 1/n of a string that was drawn aside; it
    begins at partial c = `CORNER_PARTIAL`, because a thumb that is moving also gives the string some speed.
    """
    return (1.0 - np.exp(-2j * np.pi * place * turns)) * _drawn(s, frequency_hz)


def pluck_moved(
    s: NDArray[np.complex128], turns: NDArray[np.complex128], place: float, aside: float, frequency_hz: float
) -> NDArray[np.complex128]:
    """Return by how much that force changes where the string is let go `aside` further from the bridge, (points,).

    Half the difference between there and as much nearer the bridge, so it may be taken away as well as added.
    """
    further = np.exp(-2j * np.pi * aside * turns)
    comb = np.exp(-2j * np.pi * place * turns) * (0.5 / further - 0.5 * further)
    return comb * _drawn(s, frequency_hz)


def _drawn(s: NDArray[np.complex128], frequency_hz: float) -> NDArray[np.complex128]:
    return np.asarray(1.0 / (1.0 + s / (2.0 * np.pi * CORNER_PARTIAL * frequency_hz)))


def touch_transform(s: NDArray[np.complex128], width_s: float) -> NDArray[np.complex128]:
    """Return the low-pass of a touch, (points,): a Gaussian of a standard deviation in seconds, around `LET_GO_S`."""
    return np.asarray(np.exp(0.5 * (s * width_s) ** 2 - s * LET_GO_S))


# ---- the circle on which transfer functions become samples


FOLDED_DB = 60.0
"""How much weaker what sounds on after the end is folded onto the start; strings are 50 dB down by then anyway."""

FALLS_FROM_HZ, HIGHEST_HZ = 11_000.0, 16_000.0
"""Nothing that is plucked or struck here is heard above the second; those points are left out. From the first on, what
there is sinks to nothing by half a cosine, for an edge would ring on and on."""

SPARE_FRAMES = 256
"""Frames at the end that are computed and dropped."""


@dataclass(frozen=True, slots=True)
class Circle:
    """Points of a circle for one length and rate.

    Parameters
    ----------
    rate_hz
        Frames a second.
    frames
        Length of the transform; `SPARE_FRAMES` more than the samples it gives.
    s
        The points as Laplace variables in 1/s, complex (points,): from 0 Hz to half the rate or `HIGHEST_HZ`.
    weight
        1 up to `FALLS_FROM_HZ`, then sinking to 0, (points,).
    growth
        r^t for each frame, (frames,).
    """

    rate_hz: int
    frames: int
    s: NDArray[np.complex128]
    weight: NDArray[np.float64]
    growth: NDArray[np.float64]

    def samples(self, transform: NDArray[np.complex128]) -> NDArray[np.float64]:
        """Return the samples (frames − `SPARE_FRAMES`,) whose Laplace transform at `s`, or its first points, is given.

        A unit impulse, whose transform is 1, becomes one sample of height 1.
        """
        sound = np.fft.irfft(transform * self.weight[: len(transform)], self.frames) * self.growth
        return sound[:-SPARE_FRAMES]


@functools.lru_cache(maxsize=32)
def circle_of(frames: int, rate_hz: int) -> Circle:
    """Return the circle that gives a number of samples; remembered, because notes of one length share it."""
    size = _quick_size(frames + SPARE_FRAMES)
    sigma = FOLDED_DB / 20.0 * math.log(10.0) / size
    points = min(size // 2, int(size * HIGHEST_HZ / rate_hz)) + 1
    s = np.asarray((sigma + 2j * np.pi * np.arange(points) / size) * rate_hz, np.complex128)
    fall = np.clip((s.imag / (2.0 * np.pi) - FALLS_FROM_HZ) / (HIGHEST_HZ - FALLS_FROM_HZ), 0.0, 1.0)
    weight = 0.5 + 0.5 * np.cos(np.pi * fall)
    growth = np.exp(sigma * np.arange(size))
    for array in (s, weight, growth):
        array.flags.writeable = False
    return Circle(rate_hz, size, s, weight, growth)


def _quick_size(frames: int) -> int:
    """Return the next even length that is a multiple of a large power of two, quick to transform."""
    step = 1 << max((frames // 16).bit_length() - 1, 1)
    return -(-frames // step) * step
