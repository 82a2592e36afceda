"""Laying out: which bars are played in which order, and where they fall in a take."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from tercet.arranging import Arrangement
from tercet.errors import ParameterError, RequestError
from tercet.performing.model import Click, PlayedBar, Span, TempoPoint, Timeline
from tercet.performing.tempo import Clock, in_order
from tercet.song import Bar
from tercet.theory.limits import MOST_COUNT_IN_BARS, SPEED_RANGE, percent_range

__all__ = [
    "Run",
    "bars_between",
    "count_in",
    "counted_beats",
    "lay_out",
    "lead_beats",
    "played_bars_of",
    "pulse_beats",
    "runs_of",
    "tempo_map",
]

LEAD_S = 0.16
"""Shortest silence before the first beat where nothing is counted in: a roll begins up to 90 ms before its beat, and
a deviation up to 60 ms (loose players, a slow pulse)."""

FEWEST_COUNTED_PULSES = 2
"""Fewer strokes tell no tempo."""

STEPS_A_PULSE = 4
"""Points of the tempo map on each pulse of a ritard: between them the map lies within 2 ms of the curve."""


def lay_out(
    arrangement: Arrangement,
    bar_indices: Sequence[int] | None = None,
    speed: Fraction = Fraction(1),
    count_in_bars: int = 1,
) -> Timeline:
    """Return the timeline of a piece, or of chosen bars, at one speed.

    Parameters
    ----------
    arrangement
        The piece as played.
    bar_indices
        Indices into its bars in the order to play them, some perhaps more than once; all of them without it.
    speed
        1/4 to 2.
    count_in_bars
        0 to 8 bars counted before.

    Raises
    ------
    ParameterError
        A value is out of its range, or a bar isn't there.
    RequestError
        No bars are chosen.
    """
    slowest, fastest = SPEED_RANGE
    if not slowest <= speed <= fastest:
        raise ParameterError(f"speed must be {percent_range()} (got {float(speed):.0%})")
    if not 0 <= count_in_bars <= MOST_COUNT_IN_BARS:
        raise ParameterError(f"count-in must be 0 to {MOST_COUNT_IN_BARS} bars (got {count_in_bars})")
    count = len(arrangement.bars)
    spans: list[tuple[int, int]] = []
    for index in range(count) if bar_indices is None else bar_indices:
        if not 0 <= index < count:
            raise ParameterError(f"a bar's index must be 0 to {count - 1} (got {index})")
        if spans and spans[-1][1] + 1 == index:
            spans[-1] = (spans[-1][0], index)
        else:
            spans.append((index, index))
    if not spans:
        raise RequestError("no bars are chosen")
    return Timeline(tuple(Span(first, last, Fraction(speed)) for first, last in spans), count_in_bars)


@dataclass(frozen=True, slots=True)
class Run:
    """A span as it falls in the take.

    Parameters
    ----------
    span
        Which bars, how fast.
    start_beat, end_beat
        Its beats of the piece as played.
    take_beat
        Where it starts in the take.
    start_s, end_s
        When it starts and ends in the take.
    piece_s
        When it starts by the piece's own clock.
    """

    span: Span
    start_beat: Fraction
    end_beat: Fraction
    take_beat: Fraction
    start_s: float
    end_s: float
    piece_s: float

    def seconds(self, piece_s: float) -> float:
        """Return the take's time of a time of the piece's own clock."""
        return self.start_s + (piece_s - self.piece_s) / float(self.span.speed)


def runs_of(arrangement: Arrangement, timeline: Timeline, clock: Clock) -> tuple[Run, ...]:
    """Place the spans one after the other, after the count-in or a short silence."""
    if not timeline.spans:
        raise ParameterError("a timeline must have at least one span (got none)")
    beat_s = clock.beat_s / float(timeline.spans[0].speed)
    take_beat = _counted_beat(arrangement, timeline) or lead_beats(beat_s)
    now_s = float(take_beat) * beat_s
    runs = []
    for span in timeline.spans:
        start = arrangement.bars[span.first].start_beat
        end = arrangement.bars[span.last].start_beat + arrangement.bars[span.last].length_beat
        piece_s = clock.seconds(start)
        end_s = now_s + (clock.seconds(end) - piece_s) / float(span.speed)
        runs.append(Run(span, start, end, take_beat, now_s, end_s, piece_s))
        now_s = end_s
        take_beat += end - start
    return tuple(runs)


def count_in(arrangement: Arrangement, timeline: Timeline, clock: Clock) -> tuple[Click, ...]:
    """Return the strokes of the count-in: one for each pulse before the first note's bar, or its pick-up."""
    meter = arrangement.song.meter
    beat_s = clock.beat_s / float(timeline.spans[0].speed)
    counted = _counted_beat(arrangement, timeline)
    return tuple(
        Click(float(bar + place) * beat_s, first=place == 0)
        for bar in _steps(counted, meter.bar_beat)
        for place in _steps(meter.bar_beat, meter.pulse_beat)
        if bar + place < counted
    )


def _counted_beat(arrangement: Arrangement, timeline: Timeline) -> Fraction:
    """Return how long is counted in, in beats; 0 for no count-in."""
    first = arrangement.bars[timeline.spans[0].first]
    return counted_beats(arrangement, first.start_beat, timeline.count_in_bars)


def counted_beats(arrangement: Arrangement, start_beat: Fraction, count_in_bars: int) -> Fraction:
    """Return how long is counted before a beat of the piece, in beats; 0 for no count-in.

    Count-in and pick-up fill whole bars: one more than asked for if otherwise fewer than two pulses are counted. Music
    that begins within a bar is a pick-up too.

    Parameters
    ----------
    arrangement
        The piece as played.
    start_beat
        Where the music begins.
    count_in_bars
        How many bars are asked for.
    """
    meter = arrangement.song.meter
    if count_in_bars == 0:
        return Fraction(0)
    bar = _bar_at(arrangement, start_beat)
    counted = count_in_bars * meter.bar_beat
    left = bar.start_beat + bar.length_beat - start_beat
    if left < meter.bar_beat:
        counted -= left
    while counted <= (FEWEST_COUNTED_PULSES - 1) * meter.pulse_beat:
        counted += meter.bar_beat
    return counted


def pulse_beats(
    arrangement: Arrangement, start_beat: Fraction, end_beat: Fraction
) -> Iterator[tuple[Fraction, bool]]:
    """Yield the pulses within some beats of the piece, each with whether it is a bar's first.

    Pulses of a pick-up at the very start are counted back from its end.
    """
    meter = arrangement.song.meter
    for bar in bars_between(arrangement, start_beat, end_beat):
        end = bar.start_beat + bar.length_beat
        begins = end - meter.bar_beat if bar.section_bar == 0 else bar.start_beat
        for step in _steps(end - begins, meter.pulse_beat):
            beat = begins + step
            if max(start_beat, bar.start_beat) <= beat < min(end_beat, end):
                yield beat, step == 0


def bars_between(arrangement: Arrangement, start_beat: Fraction, end_beat: Fraction) -> tuple[Bar, ...]:
    """Return the bars of the piece that lie within some beats, or partly."""
    first, last = (
        bisect(arrangement.bars, beat, key=lambda bar: bar.start_beat)
        for bisect, beat in ((bisect_right, start_beat), (bisect_left, end_beat))
    )
    return arrangement.bars[max(first - 1, 0) : last]


def _bar_at(arrangement: Arrangement, beat: Fraction) -> Bar:
    """Return the bar in which a beat of the piece falls; the last one from its start on."""
    found = bisect_right(arrangement.bars, beat, key=lambda bar: bar.start_beat) - 1
    return arrangement.bars[max(found, 0)]


def lead_beats(beat_s: float) -> Fraction:
    """Return a silence of at least `LEAD_S`: a beat halved or doubled as often as that allows."""
    lead = Fraction(1)
    while float(lead) * beat_s < LEAD_S:
        lead *= 2
    while float(lead / 2) * beat_s >= LEAD_S:
        lead /= 2
    return lead


def played_bars_of(arrangement: Arrangement, runs: Sequence[Run], clock: Clock) -> tuple[PlayedBar, ...]:
    """Return the bars of a take."""
    return tuple(
        PlayedBar(
            bar.number,
            bar.section,
            bar.pass_number,
            run.seconds(clock.seconds(bar.start_beat)),
            run.seconds(clock.seconds(bar.start_beat + bar.length_beat)),
        )
        for run in runs
        for bar in arrangement.bars[run.span.first : run.span.last + 1]
    )


def tempo_map(arrangement: Arrangement, runs: Sequence[Run], clock: Clock) -> tuple[TempoPoint, ...]:
    """Return the time of each pulse of the take, and of each place where its tempo changes, from 0 to its end."""
    points = [TempoPoint(Fraction(0), 0.0)]
    for run in runs:
        later_beat = run.take_beat - run.start_beat
        points += [
            TempoPoint(later_beat + beat, run.seconds(clock.seconds(beat)))
            for beat in _places(arrangement, run, clock)
        ]
    last = runs[-1]
    points.append(TempoPoint(last.take_beat + last.end_beat - last.start_beat, last.end_s))
    return tuple(points)


def _places(arrangement: Arrangement, run: Run, clock: Clock) -> list[Fraction]:
    """Return the beats of a run that are points of the tempo map, without its end."""
    pulse = arrangement.song.meter.pulse_beat
    start, end = float(run.start_beat), float(run.end_beat)
    slowing = [(float(first), float(last)) for first, last in clock.slowing]
    places = [edge for edge in clock.edges if start <= float(edge) < end]
    for bar in arrangement.bars[run.span.first : run.span.last + 1]:
        for step in _steps(bar.length_beat, pulse):
            beat = bar.start_beat + step
            places.append(beat)
            if any(first <= float(beat) < last for first, last in slowing):
                places += [beat + pulse * part / STEPS_A_PULSE for part in range(1, STEPS_A_PULSE)]
    return [place for place in in_order(places) if float(place) < end]


def _steps(length_beat: Fraction, step_beat: Fraction) -> Iterator[Fraction]:
    """Yield the places of a stretch that are whole steps from its start."""
    return (place * step_beat for place in range(ceil(length_beat / step_beat)))
