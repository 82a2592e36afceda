"""Beats to seconds: the only place where the one becomes the other.

The piece's own clock runs over the whole piece as played at full speed: tempo and its drift, ritards and fermatas turn
beats (already swung) into seconds. A timeline reads stretches of that clock.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import floor, prod

from tercet.arranging import Arrangement
from tercet.arranging.piece import phrase_starts
from tercet.arranging.strums import slots_of
from tercet.performing.deviation import FEELS
from tercet.performing.levels import PlacedMark, placed_marks
from tercet.song import Bar, Layer, Meter

__all__ = [
    "EVENLY",
    "Clock",
    "Going",
    "Pace",
    "Swing",
    "in_order",
    "phrase_edges",
    "piece_clock",
    "slows_from",
    "swung_beat",
]

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
            for gesture in (*arrangement.gestures, *arrangement.second):
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


FINAL_TEMPO = 0.6
"""Tempo at the end of a ritard that is written, as a part of the tempo before it: w in the curve below; 0.4–0.6 were
rated best."""

RITARD_CURVE = 3.0
"""q in the curve below; 2 and 3 were rated best."""

CLOSING_PULSES = 4
"""The last ritard begins so many pulses before the last note of the tune, and no earlier than half-way through its
phrase."""

FERMATA_PART = 0.5
FERMATA_MOST_S = 2.0
"""A fermata adds this part of what remains of its note as written, and at full speed at most so many seconds."""

CLOCK_DIGITS = 9
"""Decimals of a second: powers may differ in their last bit from machine to machine, what is played may not."""


@dataclass(frozen=True, slots=True)
class _Segment:
    """A run of beats with one way of going, from `start_s` on.

    `beat_s` is a beat's length at its start, `final` the tempo at its end as a part of that at its start. `added_s`
    is what a fermata adds, evenly.
    """

    start_beat: float
    length_beat: float
    start_s: float
    beat_s: float
    final: float
    added_s: float

    def seconds_to(self, x: float) -> float:
        """Return the seconds from the segment's start to a place in it, `x` from 0 to 1.

        Friberg & Sundberg 1999: ``v(x) = (1 + (w^q − 1)·x)^(1/q)``. The time to x is the integral of 1/v:
        ``q / ((q − 1)·k) · ((1 + k·x)^((q − 1)/q) − 1)`` with ``k = w^q − 1``.
        """
        even = x
        if self.final != 1.0:
            k = self.final**RITARD_CURVE - 1.0
            power = (RITARD_CURVE - 1.0) / RITARD_CURVE
            even = ((1.0 + k * x) ** power - 1.0) / (power * k)
        return float(self.length_beat * self.beat_s * even + self.added_s * x)


@dataclass(frozen=True, slots=True)
class Clock:
    """Seconds of every beat of the piece as played, at full speed, from 0 at the first bar's start.

    Parameters
    ----------
    beat_s
        Length of a beat where nothing slows down.
    slowing
        Where the tempo changes all the time: beats from and to.
    edges
        Beats at which the tempo changes its way of going.
    """

    beat_s: float
    slowing: tuple[tuple[Fraction, Fraction], ...]
    edges: tuple[Fraction, ...]
    _starts: tuple[float, ...]
    _segments: tuple[_Segment, ...]

    def seconds(self, beat: Fraction) -> float:
        """Return when a beat of the piece falls; after the piece's end beats go on evenly."""
        place = float(beat)
        here = self._segments[max(bisect_right(self._starts, place) - 1, 0)]
        inside = place - here.start_beat
        x = min(inside / here.length_beat, 1.0)
        past_s = max(inside - here.length_beat, 0.0) * self.beat_s
        return round(here.start_s + here.seconds_to(x) + past_s, CLOCK_DIGITS)


@dataclass(frozen=True, slots=True)
class Pace:
    """From a beat of the piece to the next pace, the tempo is so large a part of the song's own."""

    start: Fraction
    tempo: float


@dataclass(frozen=True, slots=True)
class Going:
    """How players go through a piece where nothing is written about it; an even tempo by default.

    Parameters
    ----------
    drift
        The tempo as it drifts, in order.
    phrase_end_part
        By which part of itself the last bar of a phrase lasts longer.
    closing_tempo
        The tempo at the end of the last ritard if nobody wrote one, as a part of the tempo before it; 1 for none.
    closes
        Whether the piece slows down to its end at all: not where its last bars come round again.
    """

    drift: Sequence[Pace] = ()
    phrase_end_part: float = 0.0
    closing_tempo: float = 1.0
    closes: bool = True


EVENLY = Going()


@dataclass(frozen=True, slots=True)
class _Ritard:
    """From `start` to `slow` the tempo falls, from there to `end` it stays at `final`."""

    start: Fraction
    slow: Fraction
    end: Fraction
    final: float = FINAL_TEMPO

    def tempo(self, beat: Fraction) -> float:
        """Return the tempo at a place of the ritard, as a part of the tempo before it."""
        if beat >= self.slow:
            return self.final
        x = float((beat - self.start) / (self.slow - self.start))
        return float((1.0 + (self.final**RITARD_CURVE - 1.0) * x) ** (1.0 / RITARD_CURVE))


@dataclass(frozen=True, slots=True)
class _Hold:
    """A fermata's wait: `added_s` more, spread over `start` to `end`."""

    start: Fraction
    end: Fraction
    added_s: float


def piece_clock(arrangement: Arrangement, swing: Swing, going: Going = EVENLY) -> Clock:
    """Return the clock of a piece: its tempo, how players go through it, its ritards and its fermatas.

    A ritard lasts to the next `a-tempo`, or to the end of its phrase; where less than a bar of its section's playing
    is left then, to the end of that. Its slowest tempo is reached where the last note of the tune within it is struck
    (there the curve of Friberg & Sundberg ends), and that note goes on in it.

    The piece ends with a ritard of its own, unless one is written there, or an `a-tempo`. Where nothing is written the
    last bar of each phrase lasts a little longer, each of its pulses longer than the one before.

    A fermata waits on the note of the tune that sounds at its place, ties included (on a pulse where there is
    none). The wait comes after the last place within that note where the song lets any layer strike: what moves under
    it goes on in time, then all wait, alike in every tuning and for all players. Its length is taken from the note as
    written, so that ritard and fermata add and don't multiply.
    """
    song, bars = arrangement.song, arrangement.bars
    beat_s = float(60 / (song.tempo * song.meter.pulse_beat))
    end = bars[-1].start_beat + bars[-1].length_beat
    marks = placed_marks(bars)
    tune, phrases = _tune(arrangement), phrase_edges(bars)
    ritards = _all_ritards(arrangement, marks, tune, phrases, going)
    eased = _eased(song.meter, phrases, ritards, going.phrase_end_part)
    holds = [
        _Hold(
            _last_place(arrangement, swing, start, stop),
            stop,
            min(FERMATA_PART * float(stop - start) * beat_s, FERMATA_MOST_S),
        )
        for start, stop in _fermatas(marks, tune, song.meter.pulse_beat, end)
    ]
    edges = [bars[0].start_beat, end]
    edges += [edge for ritard in ritards for edge in (ritard.start, ritard.slow, ritard.end)]
    edges += [edge for hold in holds for edge in (hold.start, hold.end)]
    edges += [pace.start for paces in (going.drift, eased) for pace in paces]
    ordered = in_order(edges)
    segments = _segments(ordered, ritards, holds, (going.drift, eased), beat_s)
    return Clock(
        beat_s,
        tuple((ritard.start, ritard.slow) for ritard in ritards),
        tuple(ordered),
        tuple(segment.start_beat for segment in segments),
        segments,
    )


def in_order(beats: Iterable[Fraction]) -> list[Fraction]:
    """Return beats in order, each once: told apart as floats, which is many times as fast as by fractions."""
    by_place = {float(beat): beat for beat in beats}
    return [by_place[place] for place in sorted(by_place)]


def _segments(
    edges: Sequence[Fraction],
    ritards: Sequence[_Ritard],
    holds: Sequence[_Hold],
    layers_of_pace: Iterable[Sequence[Pace]],
    beat_s: float,
) -> tuple[_Segment, ...]:
    """Return the way of going between each two neighbouring edges; tempos that hold at the same time multiply."""
    segments = []
    paces = [_PaceLine(each) for each in layers_of_pace]
    ritard_places = [(float(ritard.start), float(ritard.end), ritard) for ritard in ritards]
    now_s = 0.0
    for start, stop in pairwise(edges):
        place = float(start)
        ritard = next((ritard for first, last, ritard in ritard_places if first <= place < last), None)
        first = ritard.tempo(start) if ritard else 1.0
        last = ritard.tempo(stop) if ritard else 1.0
        added_s = sum(
            hold.added_s * float((stop - start) / (hold.end - hold.start))
            for hold in holds
            if hold.start <= start < hold.end
        )
        tempo = first * prod(line.at(start) for line in paces)
        here = _Segment(float(start), float(stop - start), now_s, beat_s / tempo, last / first, added_s)
        segments.append(here)
        now_s += here.seconds_to(1.0)
    return tuple(segments)


class _PaceLine:
    """A tempo along the piece, 1 before its first pace."""

    def __init__(self, paces: Sequence[Pace]) -> None:
        self._starts = [float(pace.start) for pace in paces]
        self._tempos = [1.0, *(pace.tempo for pace in paces)]

    def at(self, beat: Fraction) -> float:
        return self._tempos[bisect_right(self._starts, float(beat))]


def _eased(meter: Meter, phrases: Sequence[Fraction], ritards: Sequence[_Ritard], part: float) -> list[Pace]:
    """Return the tempo of the last pulses of each phrase, and back to 1 after them; none where a ritard is.

    These are the pulses of its last bar, or of its second half if that is shorter: in all they last longer by `part`,
    the first the least, the last the most.
    """
    if not part:
        return []
    paces = []
    for start, end in pairwise(phrases):
        count = int(min(meter.bar_beat, (end - start) / 2) / meter.pulse_beat)
        first = end - count * meter.pulse_beat
        if not count or any(ritard.start < end and first < ritard.end for ritard in ritards):
            continue
        paces += [
            Pace(first + place * meter.pulse_beat, 1.0 / (1.0 + part * 2 * (place + 1) / (count + 1)))
            for place in range(count)
        ]
        paces.append(Pace(end, 1.0))
    return paces


def phrase_edges(bars: Sequence[Bar]) -> tuple[Fraction, ...]:
    """Return where phrases begin, and where the last one ends."""
    return (*phrase_starts(bars), bars[-1].start_beat + bars[-1].length_beat)


_Tune = list[tuple[Fraction, Fraction]]


def _tune(arrangement: Arrangement) -> _Tune:
    """Return where each note of the tune is struck and where it ends, ties joined, in order."""
    return [
        (gesture.start_beat, gesture.start_beat + gesture.length_beat)
        for gesture in arrangement.gestures
        if any(note.part == "tune" for note in gesture.notes)
    ]


def slows_from(arrangement: Arrangement) -> Fraction | None:
    """Return a beat from which a piece slows down to its end, written or not; None where it doesn't.

    No player's strokes count, so it is the same for all who play the piece.
    """
    phrases = phrase_edges(arrangement.bars)
    *_, phrase, end = phrases
    marks = placed_marks(arrangement.bars)
    for ritard in _written_ritards(arrangement, marks, _tune(arrangement), phrases):
        if ritard.end == end:
            return ritard.start
    song = arrangement.song
    return None if song.rit == "none" or FEELS[song.feel].closing_tempo == 1.0 else phrase


def _all_ritards(
    arrangement: Arrangement,
    marks: Sequence[PlacedMark],
    tune: _Tune,
    phrases: Sequence[Fraction],
    going: Going,
) -> list[_Ritard]:
    """Return the ritards that are written, and the last one of all."""
    ritards = _written_ritards(arrangement, marks, tune, phrases)
    if not going.closes:
        return [ritard for ritard in ritards if ritard.end < phrases[-1]]
    if going.closing_tempo < 1.0 and arrangement.song.rit != "none":
        closing = _closing(arrangement.song.meter, marks, tune, phrases, ritards, going.closing_tempo)
        ritards += [] if closing is None else [closing]
    return ritards


def _closing(
    meter: Meter,
    marks: Iterable[PlacedMark],
    tune: _Tune,
    phrases: Sequence[Fraction],
    ritards: Iterable[_Ritard],
    final: float,
) -> _Ritard | None:
    """Return the ritard with which a piece ends, None where the song says what the end is like."""
    *_, phrase, end = phrases
    slow = max((start for start, _ in tune), default=end)
    start = max(slow - CLOSING_PULSES * meter.pulse_beat, (phrase + slow) / 2)
    told = any(mark.kind == "a-tempo" and mark.beat >= start for mark in marks)
    if told or start >= slow or any(ritard.end > start for ritard in ritards):
        return None
    return _Ritard(start, slow, end, final)


def _written_ritards(
    arrangement: Arrangement, marks: Iterable[PlacedMark], tune: _Tune, phrases: Sequence[Fraction]
) -> list[_Ritard]:
    """Return the ritards that marks ask for, in order."""
    struck = [start for start, _ in tune]
    bar_beat = arrangement.song.meter.bar_beat
    runs: list[tuple[Fraction, Fraction]] = []
    opened: PlacedMark | None = None
    end = Fraction(0)
    for mark in sorted(marks, key=lambda mark: (mark.beat, mark.kind != "a-tempo")):
        if opened is not None and (mark.kind == "a-tempo" or mark.beat >= end):
            runs.append((opened.beat, min(mark.beat, end)))
            opened = None
        if mark.kind == "rit" and opened is None:
            opened = mark
            end = phrases[min(bisect_right(phrases, mark.beat), len(phrases) - 1)]
            if opened.visit_end_beat - end < bar_beat:
                end = opened.visit_end_beat
    if opened is not None:
        runs.append((opened.beat, end))
    return [_ritard(start, end, struck) for start, end in runs if end > start]


def _ritard(start: Fraction, end: Fraction, struck: Sequence[Fraction]) -> _Ritard:
    inside = [beat for beat in struck if start < beat < end]
    return _Ritard(start, inside[-1] if inside else end, end)


def _fermatas(
    marks: Iterable[PlacedMark],
    tune: Sequence[tuple[Fraction, Fraction]],
    pulse_beat: Fraction,
    end: Fraction,
) -> list[tuple[Fraction, Fraction]]:
    """Return where each fermata stands and where its note ends; one for each note, not beyond the piece's end.

    `tune` holds start and end of each note of the tune; where none sounds, the fermata stands on a pulse.
    """
    found: dict[Fraction, Fraction] = {}
    for mark in marks:
        if mark.kind == "fermata":
            sounding = [stop for start, stop in tune if start <= mark.beat < stop]
            found.setdefault(min(sounding[0] if sounding else mark.beat + pulse_beat, end), mark.beat)
    return [(start, stop) for stop, start in found.items()]


def _last_place(arrangement: Arrangement, swing: Swing, start: Fraction, stop: Fraction) -> Fraction:
    """Return the last beat from `start` on, before `stop`, at which the song lets a layer strike, swung.

    These are the strokes of its pattern or strum rows and the notes that it writes, whether these hands play them or
    not.
    """
    song, bars = arrangement.song, arrangement.bars
    struck: list[tuple[Fraction, Layer]] = [(slot.beat, "strums") for slot in slots_of(song, bars)]
    for bar in bars:
        struck += [(bar.start_beat + note.start_beat, "between") for note in bar.between or ()]
    inside = (swing.beat(beat, layer) for beat, layer in struck if start <= beat < stop)
    return max(inside, default=start)
