"""How a player shapes what the marks say: small curves over phrase and bar, each a function of position.

The level of a gesture is the sum of its layer's line (mark and hairpins, `tercet.performing.levels`), its accent, and
the curves here, held between a floor and a ceiling. Every curve depends on the place alone, and is small beside the
4 dB from mark to mark, so that a mark stays what is heard.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

from tercet.arranging import Arrangement, Gesture
from tercet.arranging.piece import phrase_starts
from tercet.song import Layer, Meter

__all__ = ["Shaping", "bounded_db", "metric_accent_db", "phrase_arch_db", "phrase_end_db"]

ARCH_DB = 3.0
"""From the edge of a phrase to its height. Players swell towards the middle of a phrase and ease off at its end (Todd
1992, J. Acoust. Soc. Am. 91(6)); the size is set so that no mark is mistaken for its neighbour."""

ARCH_PEAK = Fraction(3, 5)
"""Where a phrase is highest."""

ARCH_PARTS: dict[Layer, float] = {"melody": 1.0, "second": 1.0, "between": 1.0, "strums": 0.5}
"""How much of the arch each layer makes: what is behind stays more even."""

FIRST_BEAT_DB, STRONG_PULSE_DB, PULSE_DB, OFF_PULSE_DB = 0.8, 0.3, 0.0, -0.4
"""Metric accent: a bar's first beat, the middle of a bar of four pulses, other pulses, between the pulses."""

PHRASE_END_DB = -1.0
"""A note that ends with its phrase is let go of."""

UP_STRUM_DB = -1.5
"""A finger that comes up is lighter than a hand that falls."""

FLOOR_DB, CEILING_DB = -26.0, 16.0
"""No gesture is played softer or louder than this, whatever adds up."""


def phrase_arch_db(along: float) -> float:
    """Return the arch of a phrase at a place from 0, its start, to 1, its end.

    It lies half of `ARCH_DB` below nothing at the edges, and as much above at `ARCH_PEAK`.

    >>> [round(phrase_arch_db(along), 2) for along in (0.0, 0.3, 0.6, 1.0)]
    [-1.5, 0.0, 1.5, -1.5]
    """
    peak = float(ARCH_PEAK)
    rise = along / peak if along <= peak else (1.0 - along) / (1.0 - peak)
    rise = min(max(rise, 0.0), 1.0)
    return ARCH_DB * (rise * rise * (3.0 - 2.0 * rise) - 0.5)


@lru_cache(maxsize=256)
def metric_accent_db(bar_beat: Fraction, meter: Meter) -> float:
    """Return the accent that the meter gives a place of a bar, in beats from its start; negative in a pick-up.

    >>> [metric_accent_db(Fraction(beat), Meter(4, 4)) for beat in ("0", "1", "2", "5/2")]
    [0.8, 0.0, 0.3, -0.4]
    """
    pulse, part = divmod(bar_beat % meter.bar_beat / meter.pulse_beat, 1)
    if part:
        return OFF_PULSE_DB
    if pulse == 0:
        return FIRST_BEAT_DB
    return STRONG_PULSE_DB if meter.pulses == 4 and pulse == 2 else PULSE_DB


def phrase_end_db(end_beat: Fraction, phrase_end_beat: Fraction, pulse_beat: Fraction) -> float:
    """Return what is taken off a note that ends within the last pulse of its phrase."""
    return PHRASE_END_DB if end_beat > phrase_end_beat - pulse_beat else 0.0


def bounded_db(level_db: float) -> float:
    """Return a level between floor and ceiling."""
    return min(max(level_db, FLOOR_DB), CEILING_DB)


class Shaping:
    """The curves of one piece."""

    def __init__(self, arrangement: Arrangement) -> None:
        self._meter = arrangement.song.meter
        last = arrangement.bars[-1]
        self._starts: Sequence[Fraction] = tuple(phrase_starts(arrangement.bars))
        self._ends = (*self._starts[1:], last.start_beat + last.length_beat)
        self._places = [float(start) for start in self._starts]
        self._lengths = [float(end - start) for start, end in zip(self._starts, self._ends, strict=True)]

    def at(self, gesture: Gesture) -> float:
        """Return the sum of the curves for a gesture, in dB."""
        index = max(bisect_right(self._places, float(gesture.start_beat)) - 1, 0)
        length = self._lengths[index]
        along = (float(gesture.start_beat) - self._places[index]) / length if length else 0.0
        shape_db = ARCH_PARTS[gesture.layer] * phrase_arch_db(along)
        shape_db += metric_accent_db(gesture.bar_beat, self._meter) + UP_STRUM_DB * gesture.up
        if gesture.layer != "strums":
            end_beat = gesture.start_beat + gesture.length_beat
            shape_db += phrase_end_db(end_beat, self._ends[index], self._meter.pulse_beat)
        return shape_db
