"""From an arrangement and a timeline to a take: every string with its onset, length, level and layer."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from render.arrange import Arrangement, Gesture
from render.errors import ParameterError, RequestError
from render.perform.deviation import level_deviation_db, time_deviation_s
from render.perform.levels import gesture_level_db, level_lines, string_levels_db, velocity_of_level
from render.perform.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from render.perform.tempo import Clock, piece_clock, swung_beat
from render.song import Meter

__all__ = ["lay_out", "perform"]

SLOWEST, FASTEST = Fraction(1, 4), Fraction(2)
"""Range of speeds."""

LEAD_S = 0.1
"""Silence before the first beat where nothing is counted in: a roll begins before its beat."""

CHOP_S = 0.03
"""A chop is damped at once."""

ROLL_STEP_S = 0.022
ROLL_STEP_RANGE_S = (0.015, 0.030)
ROLL_STEP_PER_DB_S = 0.0006
STRUM_STEP_PART = 0.55
ROLL_LIMIT_S = 0.090
"""From string to string a roll takes 15–30 ms, wider when soft or slow, and at most 90 ms in all; a strum is
quicker. The figures come from trials, and from Goebl & Parncutt 2002 for the order: the tune last, on the beat."""

ROLL_ROOM_PART = 0.6
"""A roll takes at most this part of the time since the gesture before."""


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
        Indices into its bars in the order to play them; all of them without it.
    speed
        1/4 to 2.
    count_in_bars
        0 to 4 bars counted before.
    """
    if not SLOWEST <= speed <= FASTEST:
        raise ParameterError(f"speed must be 25% to 200% (got {float(speed):.0%})")
    if not 0 <= count_in_bars <= 4:
        raise ParameterError(f"count-in must be 0 to 4 bars (got {count_in_bars})")
    indices = range(len(arrangement.bars)) if bar_indices is None else bar_indices
    spans: list[Span] = []
    for index in indices:
        if spans and spans[-1].last + 1 == index:
            spans[-1] = replace(spans[-1], last=index)
        else:
            spans.append(Span(index, index, speed))
    if not spans:
        raise RequestError("no bars are chosen")
    return Timeline(tuple(spans), count_in_bars)


@dataclass(frozen=True, slots=True)
class _Run:
    """A span as it falls in the take: its beats of the piece, and where they start in the take."""

    span: Span
    start_beat: Fraction
    end_beat: Fraction
    take_beat: Fraction
    start_s: float

    def seconds(self, clock: Clock, beat: Fraction) -> float:
        """Return the take's time of a beat of the piece."""
        return self.start_s + (clock.seconds(beat) - clock.seconds(self.start_beat)) / float(self.span.speed)


def perform(arrangement: Arrangement, timeline: Timeline, *, seed: int = 1, dry: bool = False) -> Take:
    """Play an arrangement on a timeline.

    Parameters
    ----------
    arrangement
        What is played, in beats.
    timeline
        Which bars, how fast, and the count-in.
    seed
        Another seed gives other small deviations.
    dry
        Exactly on the beat and exactly at the marks: no deviations.

    Returns
    -------
    Take
        Notes with onsets in seconds; on each string one note at a time.
    """
    clock = piece_clock(arrangement.bars, arrangement.song)
    lines = level_lines(arrangement.bars, arrangement.song.dynamics)
    runs, clicks = _runs(arrangement, timeline, clock)
    bars = _bars(arrangement, runs, clock)
    notes: list[TakeNote] = []
    bar_offset = 0
    gesture_count = 0
    for run in runs:
        inside = [item for item in arrangement.gestures if run.start_beat <= item.start_beat < run.end_beat]
        swung = _Swing(arrangement, run, clock)
        before_s = -1.0
        latest_s, latest_beat = -1.0, Fraction(-1)
        for gesture in inside:
            late_s, louder_db = (0.0, 0.0) if dry else _deviation(gesture, arrangement, seed)
            onset_s = max(swung.seconds(gesture.start_beat) + late_s, 0.0)
            if gesture.start_beat > latest_beat:
                before_s, latest_beat = latest_s, gesture.start_beat
            latest_s = max(latest_s, onset_s)
            level_db = gesture_level_db(gesture, lines) + louder_db
            notes += _strings(
                gesture, gesture_count, onset_s, before_s, swung.end_seconds(gesture) + late_s, level_db,
                bar_offset + swung.bar_index(gesture.start_beat), run.span.speed,
            )  # fmt: skip
            gesture_count += 1
        bar_offset += run.span.last - run.span.first + 1
    end_s = bars[-1].end_s
    ordered = tuple(sorted(_one_at_a_time(notes), key=lambda note: (note.onset_s, note.string)))
    length_s = max([end_s, *(note.onset_s + note.length_s for note in ordered)])
    return Take(ordered, clicks, bars, _tempo_map(arrangement, runs, clock), length_s)


class _Swing:
    """Times of a run's places with swing."""

    def __init__(self, arrangement: Arrangement, run: _Run, clock: Clock) -> None:
        self._bars = arrangement.bars[run.span.first : run.span.last + 1]
        self._song = arrangement.song
        self._run = run
        self._clock = clock
        self._starts = [bar.start_beat for bar in self._bars]

    def bar_index(self, beat: Fraction) -> int:
        """Return the index within the run of the bar that holds a beat."""
        return max(bisect_right(self._starts, beat) - 1, 0)

    def seconds(self, beat: Fraction) -> float:
        """Return the take's time of a written place."""
        bar = self._bars[self.bar_index(beat)]
        offset = self._song.meter.bar_beat - bar.length_beat
        local = beat - bar.start_beat + offset
        return self._run.seconds(
            self._clock, bar.start_beat - offset + swung_beat(local, self._song.meter, self._song.swing)
        )

    def end_seconds(self, gesture: Gesture) -> float:
        """Return the take's time at which a gesture ends."""
        return self.seconds(gesture.start_beat + gesture.length_beat)


def _deviation(gesture: Gesture, arrangement: Arrangement, seed: int) -> tuple[float, float]:
    """Return how late in seconds and how much louder in dB a gesture is, by its place."""
    meter = arrangement.song.meter
    bars_before = max(gesture.section_bar - 1, 0)
    pulse = (bars_before * meter.bar_beat + gesture.bar_beat) / meter.pulse_beat
    place = (seed, gesture.section, gesture.pass_number, gesture.layer, pulse)
    return time_deviation_s(*place), level_deviation_db(*place)


def _runs(
    arrangement: Arrangement, timeline: Timeline, clock: Clock
) -> tuple[tuple[_Run, ...], tuple[Click, ...]]:
    """Place the spans one after the other, after the count-in."""
    meter = arrangement.song.meter
    first = arrangement.bars[timeline.spans[0].first]
    count_beat = timeline.count_in_bars * meter.bar_beat
    if first.length_beat < meter.bar_beat and timeline.count_in_bars:
        count_beat -= first.length_beat
    lead_s = 0.0 if count_beat else LEAD_S
    beat_s = clock.beat_s / float(timeline.spans[0].speed)
    clicks = [
        Click(float(bar * meter.bar_beat + place) * beat_s, first=place == 0)
        for bar in range(timeline.count_in_bars)
        for place in _pulse_places(meter.bar_beat, meter)
        if bar * meter.bar_beat + place < count_beat
    ]
    runs = []
    take_beat, now_s = count_beat, lead_s + float(count_beat) * beat_s
    for span in timeline.spans:
        start = arrangement.bars[span.first].start_beat
        end = arrangement.bars[span.last].start_beat + arrangement.bars[span.last].length_beat
        runs.append(_Run(span, start, end, take_beat, now_s))
        now_s = runs[-1].seconds(clock, end)
        take_beat += end - start
    return tuple(runs), tuple(clicks)


def _bars(arrangement: Arrangement, runs: Sequence[_Run], clock: Clock) -> tuple[PlayedBar, ...]:
    return tuple(
        PlayedBar(
            bar.number,
            bar.section,
            bar.pass_number,
            run.seconds(clock, bar.start_beat),
            run.seconds(clock, bar.start_beat + bar.length_beat),
        )
        for run in runs
        for bar in arrangement.bars[run.span.first : run.span.last + 1]
    )


def _tempo_map(arrangement: Arrangement, runs: Sequence[_Run], clock: Clock) -> tuple[TempoPoint, ...]:
    """Return the time of each pulse of the take, from its first count to its end."""
    points = []
    if runs[0].take_beat:
        points.append(TempoPoint(Fraction(0), 0.0))
    for run in runs:
        for bar in arrangement.bars[run.span.first : run.span.last + 1]:
            for place in _pulse_places(bar.length_beat, arrangement.song.meter):
                beat = bar.start_beat + place
                points.append(TempoPoint(run.take_beat + beat - run.start_beat, run.seconds(clock, beat)))
    last = runs[-1]
    points.append(
        TempoPoint(last.take_beat + last.end_beat - last.start_beat, last.seconds(clock, last.end_beat))
    )
    return tuple(points)


def _pulse_places(length_beat: Fraction, meter: Meter) -> list[Fraction]:
    """Return the places of the pulses in a stretch of that length, from 0."""
    return [place * meter.pulse_beat for place in range(ceil(length_beat / meter.pulse_beat))]


def _strings(
    gesture: Gesture,
    number: int,
    onset_s: float,
    before_s: float,
    end_s: float,
    level_db: float,
    bar_index: int,
    speed: Fraction,
) -> Iterator[TakeNote]:
    """Yield the strings of one gesture, spread in time with the last on the beat."""
    count = len(gesture.notes)
    step_s = ROLL_STEP_S - ROLL_STEP_PER_DB_S * level_db
    step_s = min(max(step_s, ROLL_STEP_RANGE_S[0]), ROLL_STEP_RANGE_S[1])
    if speed < 1:
        step_s = min(step_s / float(speed) ** 0.5, ROLL_STEP_RANGE_S[1])
    if gesture.action in ("strum", "chop"):
        step_s *= STRUM_STEP_PART
    spread_s = min(step_s * (count - 1), ROLL_LIMIT_S, onset_s)
    if before_s >= 0.0:
        spread_s = min(spread_s, ROLL_ROOM_PART * (onset_s - before_s))
    levels = string_levels_db(gesture, level_db)
    for place, (note, string_db) in enumerate(zip(gesture.notes, levels, strict=True)):
        struck_s = onset_s - spread_s * (count - 1 - place) / max(count - 1, 1)
        length_s = CHOP_S if gesture.action == "chop" else max(end_s - struck_s, CHOP_S)
        yield TakeNote(
            onset_s=struck_s,
            length_s=length_s,
            level_db=string_db,
            velocity=velocity_of_level(string_db),
            midi=note.midi,
            string=note.string,
            fret=note.fret,
            layer=gesture.layer,
            part=note.part,
            action=gesture.action,
            gesture=number,
            bar_index=bar_index,
            section=gesture.section,
            pass_number=gesture.pass_number,
            phrase=gesture.phrase,
            beat=gesture.start_beat,
            length_beat=gesture.length_beat,
        )


def _one_at_a_time(notes: Sequence[TakeNote]) -> Iterator[TakeNote]:
    """Yield the notes, each damped at the latest when its string is struck again, by whichever layer."""
    for string in (1, 2, 3, 4):
        along = sorted(
            (note for note in notes if note.string == string), key=lambda note: (note.onset_s, note.beat)
        )
        for note, following in zip(along, [*along[1:], None], strict=True):
            if following is not None and note.onset_s + note.length_s > following.onset_s:
                yield replace(note, length_s=following.onset_s - note.onset_s)
            else:
                yield note
