"""Small deviations in time and level that belong to a note by its place, and the slow drift of the tempo.

People's deviations from the beat are correlated over a long time, with a power spectrum near 1/f^0.9 (Hennig et al.
2011, PLoS ONE 6(10): e26457), and players in one group share them (Hennig 2014, PNAS 111(36)). A sum of processes
that change every 1, 2, 4, … pulses has such a spectrum (the method of Voss, in Gardner 1978). Every value is drawn from
a hash of its place (seed, section, pass, octave, step): it doesn't depend on how long the song is, how fast it
goes, or what was played before. Nothing but sums, quotients and square roots is used, so that it is the same to the
last bit on every machine.

Two processes are at work in a group (Sogorski, Geisel & Priesemann 2018, PLoS ONE 13(1): e0186361): where players
strike around the pulse, and how the pulse itself goes. The first are deviations, late or early against a pulse that
goes on; the second is a drift of the tempo, over eight pulses and more: it moves all that follows, and all share it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from hashlib import blake2b
from math import sqrt
from struct import Struct

from tercet.song import Feel

__all__ = [
    "FEELS",
    "LEAST_SCALE",
    "MOST_SCALE",
    "FeelFigures",
    "level_deviation_db",
    "pulse_scale",
    "step_deviation",
    "string_deviation_db",
    "tempo_drift",
    "time_deviation_s",
]

USUAL_PULSE_S = 0.6
"""The spreads in milliseconds hold for a pulse of this length, 100 a minute."""

LEAST_SCALE, MOST_SCALE = 0.6, 1.5
"""What people are off grows with the time between beats; beyond these, counting in halves or bars takes over."""


@dataclass(frozen=True, slots=True)
class FeelFigures:
    """What a word stands for.

    Parameters
    ----------
    together_sd_s
        Spread of what all three layers share, in seconds at 100 pulses a minute.
    own_sd_s
        Spread of what each adds of its own.
    level_sd_db
        Spread of a gesture's level around its mark.
    string_sd_db
        Spread of the strings of a roll under its tune, or of a strum, around their share of its level.
    uneven_part
        By how much the steps between the strings of a roll or strum differ, as a part of one step.
    drift_part
        Spread of the tempo around the song's own, as a part of it.
    phrase_end_part
        By which part of itself the last bar of a phrase lasts longer.
    closing_tempo
        The tempo at the end of the last ritard if nobody wrote one, as a part of the tempo before it; 1 for none.
    """

    together_sd_s: float
    own_sd_s: float
    level_sd_db: float
    string_sd_db: float
    uneven_part: float
    drift_part: float
    phrase_end_part: float
    closing_tempo: float


FEELS: dict[Feel, FeelFigures] = {
    "steady": FeelFigures(0.0030, 0.0012, 0.3, 0.4, 0.06, 0.004, 0.0, 1.0),
    "natural": FeelFigures(0.0060, 0.0025, 0.6, 0.8, 0.12, 0.008, 0.04, 0.7),
    "loose": FeelFigures(0.0110, 0.0050, 1.0, 1.2, 0.20, 0.016, 0.045, 0.65),
}
"""Together 3.2, 6.5 and 12 ms: a good amateur ensemble has 5–15 ms (Hennig et al. 2011). The tempo of natural players
stays within 2 % of the song's (2.5 spreads): less than the 2.5 % from which a change is noticed (Friberg & Sundberg
1995, J. Acoust. Soc. Am. 98(5)). Phrases end 3–5 % slower, as much as is felt and hardly heard as a change; a last
ritard that nobody wrote stays milder than a written one. Steady players do neither: one can play along by the foot."""


def pulse_scale(pulse_s: float) -> float:
    """Return by how much the deviations of a song are larger or smaller than at 100 pulses a minute.

    Parameters
    ----------
    pulse_s
        How long a pulse lasts at the song's own tempo; practising slower doesn't change how a phrase is played.
    """
    return min(max(pulse_s / USUAL_PULSE_S, LEAST_SCALE), MOST_SCALE)


OCTAVES = 7
"""Processes that change every 1, 2, 4, … 64 pulses."""

OCTAVE_RATIO = 0.87
"""Spread of each process relative to the next quicker one. Steps that are joined by lines hold less of their high
frequencies than bare steps; this brings the spectrum's slope back to 0.95 (measured; 1.24 with equal spreads)."""

DRIFT_OCTAVES = range(3, OCTAVES)
"""The tempo drifts over 8, 16, 32 and 64 pulses; what is quicker is deviation."""

LIMIT_SD = 2.5
"""No process is further from nothing than this many of its standard deviations …"""

LATE_LIMIT_SD = 3.0
"""… and no player further off the pulse than this many, of what is shared and what is added together."""

_SPREADS = tuple(OCTAVE_RATIO**octave for octave in range(OCTAVES))
_TWELVE_WORDS = Struct("<12H")


class _Process:
    """A deviation of spread 1 along the playing of a section, in pulses; what was drawn is kept."""

    def __init__(self, place: str, section: str, octaves: range = range(OCTAVES)) -> None:
        self._place = place
        self._section = section
        self._octaves = octaves
        self._total_spread = sqrt(sum(_SPREADS[octave] * _SPREADS[octave] for octave in octaves))
        self._drawn: dict[tuple[int, int], float] = {}
        self._found: dict[tuple[int, int], float] = {}

    def at(self, pulse: Fraction) -> float:
        """Return the deviation at a place; between two steps it moves from one value to the next."""
        place = pulse.numerator, pulse.denominator
        found = self._found.get(place)
        if found is None:
            found = self._found[place] = self._at(*place)
        return found

    def _at(self, numerator: int, denominator: int) -> float:
        whole, rest = divmod(numerator, denominator)
        part = rest / denominator
        total = 0.0
        for octave in self._octaves:
            step = whole >> octave
            along = (whole - (step << octave) + part) / (1 << octave)
            value = self._normal(octave, step)
            if along:
                there = self._normal(octave, step + 1)
                value = (value + along * (there - value)) / sqrt(1.0 - 2.0 * along * (1.0 - along))
            total += _SPREADS[octave] * value
        return min(max(total / self._total_spread, -LIMIT_SD), LIMIT_SD)

    def _normal(self, octave: int, step: int) -> float:
        """Return a number of mean 0 and spread 1, nearly normal, drawn from a place.

        Twelve even numbers between 0 and 1 add up to a spread of 1 (Irwin 1927, Hall 1927).
        """
        drawn = self._drawn.get((octave, step))
        if drawn is None:
            text = f"{self._place}/{octave}/{step}/{self._section}"
            total: int = sum(_TWELVE_WORDS.unpack(blake2b(text.encode(), digest_size=24).digest()))
            drawn = self._drawn[octave, step] = (total - 12 * 32767.5) / 65536.0
        return drawn


@lru_cache(maxsize=512)
def _process(seed: int, section: str, pass_number: int, who: str) -> _Process:
    return _Process(f"{seed}/{pass_number}/{who}", section)


@lru_cache(maxsize=64)
def _drift(seed: int, section: str, pass_number: int) -> _Process:
    return _Process(f"{seed}/{pass_number}/drift", section, DRIFT_OCTAVES)


def tempo_drift(
    seed: int, section: str, pass_number: int, pulse: Fraction, feel: FeelFigures = FEELS["natural"]
) -> float:
    """Return the tempo of the pulse that begins at a place, as a part of the song's own; parameters as below."""
    return 1.0 + feel.drift_part * _drift(seed, section, pass_number).at(pulse)


def time_deviation_s(
    seed: int,
    section: str,
    pass_number: int,
    layer: str,
    pulse: Fraction,
    feel: FeelFigures = FEELS["natural"],
) -> float:
    """Return how late (positive) or early a place is played at 100 pulses a minute, in seconds.

    Parameters
    ----------
    seed
        Another seed gives another playing.
    section, pass_number, pulse
        The place: pulses from the start of the section (negative in a pick-up).
    layer
        Who plays: each has a part of its own besides the part that all share.
    feel
        How large both parts are.
    """
    shared = _process(seed, section, pass_number, "together").at(pulse)
    own = _process(seed, section, pass_number, layer).at(pulse)
    limit_s = LATE_LIMIT_SD * sqrt(feel.together_sd_s * feel.together_sd_s + feel.own_sd_s * feel.own_sd_s)
    return min(max(feel.together_sd_s * shared + feel.own_sd_s * own, -limit_s), limit_s)


def level_deviation_db(
    seed: int,
    section: str,
    pass_number: int,
    layer: str,
    pulse: Fraction,
    feel: FeelFigures = FEELS["natural"],
) -> float:
    """Return how much louder or softer than its mark a gesture is played, in dB; parameters as above."""
    return feel.level_sd_db * _process(seed, section, pass_number, f"{layer} level").at(pulse)


def step_deviation(
    seed: int, section: str, pass_number: int, layer: str, pulse: Fraction, step: int
) -> float:
    """Return by how much a step between two strings of a gesture is off, of spread 1, at most `LIMIT_SD`.

    `step` counts the steps of the gesture from 0; the other parameters are as above. Each step is by itself: a thumb
    doesn't fall across strings as evenly as it keeps time.
    """
    return _process(seed, section, pass_number, f"{layer} step {step}").at(pulse)


def string_deviation_db(
    seed: int, section: str, pass_number: int, layer: str, pulse: Fraction, place: int, feel: FeelFigures
) -> float:
    """Return by how much a string of a gesture is louder than its share, in dB; `place` counts those struck from 0."""
    return feel.string_sd_db * _process(seed, section, pass_number, f"{layer} string {place}").at(pulse)
