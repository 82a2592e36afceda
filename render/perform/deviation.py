"""Small deviations in time and level that belong to a note by its place.

People's deviations from the beat are correlated over a long time, with a power spectrum near 1/f (Hennig et al.
2011, PLoS ONE 6(10): e26457), and players in one group share them (Hennig 2014, PNAS 111(36)). A sum of processes
that change every 1, 2, 4, … pulses, each with the same spread, has such a spectrum (the method of Voss, Gardner
1978). Every value is drawn from a hash of its place (seed, section, pass, octave, step): it doesn't depend on
how long the song is, how fast it goes, or what was played before.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from hashlib import blake2b
from math import cos, hypot, log, pi, sqrt
from struct import unpack

__all__ = ["Player", "level_deviation_db", "time_deviation_s"]

Player = str
"""Who deviates: a layer's name, or ``"together"`` for what all three share."""

OCTAVES = 6
"""Processes that change every 1, 2, 4, 8, 16 and 32 pulses."""

TOGETHER_SD_S = 0.006
OWN_SD_S = 0.0025
LEVEL_SD_DB = 0.6
LIMIT_SD = 2.5
"""No deviation is larger than this many standard deviations."""


@lru_cache(maxsize=65536)
def _gaussian(key: str) -> float:
    """Return a standard normal number drawn from a text (Box & Muller 1958), the same on every machine."""
    one, two = unpack("<QQ", blake2b(key.encode(), digest_size=16).digest())
    return sqrt(-2.0 * log((one + 1) / 2.0**64)) * cos(2.0 * pi * two / 2.0**64)


def _process(key: str, pulse: Fraction) -> float:
    """Return a deviation of spread 1 at a place in pulses; between two steps it moves from one value to the next."""
    total = 0.0
    for octave in range(OCTAVES):
        step, part = divmod(pulse / 2**octave, 1)
        here = _gaussian(f"{key}/{octave}/{step}")
        there = _gaussian(f"{key}/{octave}/{step + 1}")
        along = float(part)
        total += ((1.0 - along) * here + along * there) / hypot(1.0 - along, along)
    return min(max(total / sqrt(OCTAVES), -LIMIT_SD), LIMIT_SD)


def time_deviation_s(seed: int, section: str, pass_number: int, layer: Player, pulse: Fraction) -> float:
    """Return how late (positive) or early a place is played, in seconds.

    Parameters
    ----------
    seed
        Another seed gives another playing.
    section, pass_number, pulse
        The place: pulses from the start of the section (negative in a pick-up).
    layer
        Who plays: each has a part of its own besides the part that all share.
    """
    shared = _process(f"{seed}/{section}/{pass_number}/together", pulse)
    own = _process(f"{seed}/{section}/{pass_number}/{layer}", pulse)
    return TOGETHER_SD_S * shared + OWN_SD_S * own


def level_deviation_db(seed: int, section: str, pass_number: int, layer: Player, pulse: Fraction) -> float:
    """Return how much louder or softer than its mark a gesture is played, in dB."""
    return LEVEL_SD_DB * _process(f"{seed}/{section}/{pass_number}/{layer}/level", pulse)
