"""Swing: where the second half of a pulse falls."""

from __future__ import annotations

from fractions import Fraction
from math import floor

from tercet.arranging import Arrangement
from tercet.song import Layer, Meter

__all__ = ["Swing", "swung_beat"]

EVEN = Fraction(1, 2)


def swung_beat(bar_beat: Fraction, meter: Meter, swing: Fraction) -> Fraction:
    """Return where a place of a bar falls with swing.

    The pulse's second half starts at `swing` of the pulse (1/2 is even); places inside both halves move along.
    Triplets (places at thirds of a pulse and parts of them) stay, and so does everything in 6/8, 9/8 and 12/8, where
    a pulse has three parts.

    >>> swung_beat(Fraction(1, 2), Meter(4, 4), Fraction(2, 3))
    Fraction(2, 3)
    >>> swung_beat(Fraction(1, 3), Meter(4, 4), Fraction(2, 3))
    Fraction(1, 3)
    >>> swung_beat(Fraction(3, 2), Meter(6, 8), Fraction(2, 3))
    Fraction(3, 2)
    """
    pulse = meter.pulse_beat
    whole, part = divmod(bar_beat / pulse, 1)
    if part == 0 or swing == EVEN or pulse == 3 or part.denominator % 3 == 0:
        return bar_beat
    moved = part / EVEN * swing if part <= EVEN else swing + (part - EVEN) / EVEN * (1 - swing)
    return (whole + moved) * pulse


class Swing:
    """Swing over a whole piece.

    A pulse that a layer parts in three is even in that layer: the middle of six notes in a pulse stays in the middle.
    """

    def __init__(self, arrangement: Arrangement) -> None:
        self._meter = arrangement.song.meter
        self._swing = arrangement.song.swing
        first = arrangement.bars[0]
        self._bar_start = first.start_beat + first.length_beat
        """Where some bar begins: all bars are whole pulses, but for a pick-up at the very start."""
        self._in_three: set[tuple[Layer, int]] = set()
        if self._swing != EVEN:
            for gesture in arrangement.gestures:
                pulses = (gesture.start_beat - self._bar_start) / self._meter.pulse_beat
                if pulses.denominator % 3 == 0:
                    self._in_three.add((gesture.layer, floor(pulses)))

    def beat(self, beat: Fraction, layer: Layer) -> Fraction:
        """Return where a written beat of the piece is played by a layer."""
        if self._swing == EVEN:
            return beat
        place = beat - self._bar_start
        if (layer, floor(place / self._meter.pulse_beat)) in self._in_three:
            return beat
        return self._bar_start + swung_beat(place, self._meter, self._swing)
