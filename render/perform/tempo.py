"""Beats to seconds: the only place where the one becomes the other.

The piece's own clock runs over the whole piece as played at full speed: swing moves places within a pulse,
then tempo, ritards and fermatas turn beats into seconds. A timeline reads stretches of that clock.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from render.song import Bar, Meter, Song

__all__ = ["Clock", "piece_clock", "swung_beat"]

FINAL_TEMPO = 0.5
"""Tempo at the end of a ritard, as a part of the tempo before it: w in the curve below."""

RITARD_CURVE = 3.0
"""q in the curve below; 2 and 3 were rated best."""

FERMATA_STRETCH = 1.5
"""How many times its written length a note under a fermata lasts."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A run of beats with one way of going.

    `stretch` multiplies the seconds of each beat; `final` is the tempo at its end when it slows down, else 1.
    """

    start_beat: Fraction
    end_beat: Fraction
    start_s: float
    stretch: float
    final: float

    def seconds_to(self, beat: Fraction, beat_s: float) -> float:
        """Return the seconds from the stretch's start to a beat inside it.

        Friberg & Sundberg 1999: ``v(x) = (1 + (w^q − 1)·x)^(1/q)`` for x from 0 to 1 over the ritard. The time to x
        is the integral of 1/v: ``q / ((q − 1)·k) · ((1 + k·x)^((q − 1)/q) − 1)`` with ``k = w^q − 1``.
        """
        length = float(self.end_beat - self.start_beat)
        if self.final == 1.0 or length == 0.0:
            return float(beat - self.start_beat) * beat_s * self.stretch
        x = float(beat - self.start_beat) / length
        k = self.final**RITARD_CURVE - 1.0
        power = (RITARD_CURVE - 1.0) / RITARD_CURVE
        return float(self.stretch * length * beat_s * ((1.0 + k * x) ** power - 1.0) / (power * k))


@dataclass(frozen=True, slots=True)
class Clock:
    """Seconds of every beat of the piece as played, at full speed, from 0 at the first bar's start."""

    beat_s: float
    stretches: tuple[_Stretch, ...]

    def seconds(self, beat: Fraction) -> float:
        """Return when a beat of the piece falls; beats before the start or after the end go on evenly."""
        after = bisect_right(self.stretches, beat, key=lambda stretch: stretch.start_beat)
        here = self.stretches[max(after - 1, 0)]
        if beat <= here.end_beat:
            return here.start_s + here.seconds_to(beat, self.beat_s)
        past = float(beat - here.end_beat) * self.beat_s
        return here.start_s + here.seconds_to(here.end_beat, self.beat_s) + past


def piece_clock(bars: Sequence[Bar], song: Song) -> Clock:
    """Return the clock of a piece: its tempo, its ritards and its fermatas.

    A ritard lasts to the next `a-tempo`, to the end of its section's playing, or to the end of the piece. A
    fermata stretches from its place to the end of the note of the tune that sounds there (a pulse in a rest).
    """
    beat_s = float(60 / (song.tempo * song.meter.pulse_beat))
    end = bars[-1].start_beat + bars[-1].length_beat
    ritards = _ritards(bars)
    fermatas = _fermatas(bars, song.meter)
    edges = {bars[0].start_beat, end}
    edges |= {edge for run in (*ritards, *fermatas) for edge in run}
    ordered = sorted(edge for edge in edges if edge <= end)
    stretches: list[_Stretch] = []
    now_s = 0.0
    for start, stop in pairwise(ordered):
        held = FERMATA_STRETCH if any(a <= start < b for a, b in fermatas) else 1.0
        slowing = next(((a, b) for a, b in ritards if a <= start < b), None)
        stretch, final = held, 1.0
        if slowing is not None:
            at_start = _tempo_at(start, *slowing)
            stretch, final = held / at_start, _tempo_at(stop, *slowing) / at_start
        here = _Stretch(start, stop, now_s, stretch, final)
        stretches.append(here)
        now_s += here.seconds_to(stop, beat_s)
    return Clock(beat_s, tuple(stretches))


def _tempo_at(beat: Fraction, start: Fraction, end: Fraction) -> float:
    """Return the tempo at a place of a ritard, as a part of the tempo before it."""
    x = float((beat - start) / (end - start))
    return float((1.0 + (FINAL_TEMPO**RITARD_CURVE - 1.0) * x) ** (1.0 / RITARD_CURVE))


def _ritards(bars: Sequence[Bar]) -> list[tuple[Fraction, Fraction]]:
    """Return where each ritard starts and ends."""
    runs: list[tuple[Fraction, Fraction]] = []
    open_at: Fraction | None = None
    before: Bar | None = None
    for bar in bars:
        visit_ends = before is not None and (bar.section, bar.pass_number) != (
            before.section,
            before.pass_number,
        )
        if visit_ends and open_at is not None:
            runs.append((open_at, bar.start_beat))
            open_at = None
        for mark in bar.marks:
            beat = bar.start_beat + mark.at_beat
            if mark.kind == "a-tempo" and open_at is not None:
                runs.append((open_at, beat))
                open_at = None
            elif mark.kind == "rit" and open_at is None:
                open_at = beat
        before = bar
    if open_at is not None and before is not None:
        runs.append((open_at, before.start_beat + before.length_beat))
    return [run for run in runs if run[1] > run[0]]


def _fermatas(bars: Sequence[Bar], meter: Meter) -> list[tuple[Fraction, Fraction]]:
    """Return where the held stretches of fermatas start and end."""
    runs = []
    for bar in bars:
        for mark in bar.marks:
            if mark.kind != "fermata":
                continue
            sounding = [
                note.start_beat + note.length_beat
                for note in bar.melody
                if not note.is_rest and note.start_beat <= mark.at_beat < note.start_beat + note.length_beat
            ]
            stop = sounding[0] if sounding else min(mark.at_beat + meter.pulse_beat, bar.length_beat)
            if stop > mark.at_beat:
                runs.append((bar.start_beat + mark.at_beat, bar.start_beat + stop))
    return runs


def swung_beat(bar_beat: Fraction, meter: Meter, swing: Fraction) -> Fraction:
    """Return where a place of a bar falls with swing.

    The pulse's second half starts at `swing` of the pulse (1/2 is even); places inside both halves move along.
    Triplets (places at thirds of a pulse and parts of them) stay.

    >>> swung_beat(Fraction(1, 2), Meter(4, 4), Fraction(2, 3))
    Fraction(2, 3)
    >>> swung_beat(Fraction(1, 3), Meter(4, 4), Fraction(2, 3))
    Fraction(1, 3)
    """
    pulse = meter.pulse_beat
    whole, part = divmod(bar_beat / pulse, 1)
    if part == 0 or swing == Fraction(1, 2) or part.denominator % 3 == 0:
        return bar_beat
    half = Fraction(1, 2)
    moved = part / half * swing if part <= half else swing + (part - half) / half * (1 - swing)
    return (whole + moved) * pulse
