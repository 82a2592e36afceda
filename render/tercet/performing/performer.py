"""From an arrangement and a timeline to a take: every string with its onset, length, level and layer."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby
from math import ceil, inf

from tercet.arranging import Arrangement, Gesture
from tercet.performing.audible import (
    MOST_LOWERED_DB,
    StrokePlace,
    clearing_db,
    covered_notes,
    ringing_too_long,
)
from tercet.performing.deviation import (
    FEELS,
    level_deviation_db,
    pulse_scale,
    step_deviation,
    string_deviation_db,
    tempo_drift,
    time_deviation_s,
)
from tercet.performing.free_strings import with_free_strings
from tercet.performing.levels import (
    FLAT_LEVEL_DB,
    flat_levels_db,
    gesture_level_db,
    level_lines,
    string_levels_db,
    velocity_of_level,
)
from tercet.performing.model import Take, TakeNote, Timeline
from tercet.performing.shaping import Shaping, bounded_db
from tercet.performing.string_times import (
    BeatWindow,
    indices_within,
    note_ends,
    second_ends,
    string_delays_s,
)
from tercet.performing.tempo import Clock, Going, Pace, Swing, piece_clock
from tercet.performing.timeline import Run, count_in, lay_out, played_bars_of, runs_of, tempo_map
from tercet.song import SECOND

__all__ = ["Interpretation", "interpret", "perform"]

SHORTEST_S = 0.03
"""A chop is damped at once; no other note is shorter than this, unless its string is struck again."""


def perform(
    arrangement: Arrangement,
    timeline: Timeline,
    *,
    seed: int = 1,
    dry: bool = False,
    flat: bool = False,
    steady_pulse: bool = False,
    closes: bool = True,
    leader: Arrangement | None = None,
) -> Take:
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
        Exactly on the beat and exactly at the marks: no deviations, no drift, and no shaping of phrase and bar.
    flat
        The same notes at the same times, every gesture as loud as any other and every string of it too: neither
        front nor back, no marks, accents or hairpins.
    steady_pulse
        The tempo neither drifts nor eases at phrase ends, so that a click that goes on through the take is in time with
        it. How players are off that pulse stays as it is.
    closes
        Whether the piece slows down to its end; not where its last bars come round again.
    leader
        An arrangement of the same piece whose ritards and fermatas are followed; its own without it.

    Returns
    -------
    Take
        Notes with onsets in seconds; on each string one note at a time. Nothing rings past the end of a span: where
        the next bar of the piece doesn't follow, its music would clash with what does.
    """
    playing = interpret(
        arrangement, seed=seed, dry=dry, steady_pulse=steady_pulse, closes=closes, leader=leader
    )
    return replace(playing.perform(timeline, flat=flat), interpretation=playing)


def interpret(
    arrangement: Arrangement,
    *,
    seed: int = 1,
    dry: bool = False,
    steady_pulse: bool = False,
    closes: bool = True,
    leader: Arrangement | None = None,
    beats: BeatWindow | None = None,
) -> Interpretation:
    """Return how an arrangement is played, whichever bars are played and however fast.

    Parameters
    ----------
    arrangement, seed, dry, steady_pulse, closes, leader
        As in `perform`.
    beats
        From where up to where the piece is played; all of it without them. What is played is as in the whole piece, but
        for notes that cover, or are covered by, what rings longer than these beats reach.
    """
    swing = Swing(arrangement)
    leading = leader or arrangement
    going = Going(closes=closes) if dry or steady_pulse else _going(leading, seed, closes=closes)
    clock = piece_clock(leading, Swing(leading), going)
    placed = tuple(_placed(arrangement, swing, clock, None if dry else seed, beats))
    playing = Interpretation(arrangement, clock, placed, seed, dry)
    if arrangement.second:
        playing = _giving_way(playing)
    return _letting_the_tune_through(playing, swing)


@dataclass(frozen=True, slots=True)
class Interpretation:
    """An arrangement as some players play it: all that doesn't depend on a timeline.

    Parameters
    ----------
    arrangement
        What is played.
    clock
        The piece's own, at full speed, as it is played.
    placed
        The gestures in the order played.
    seed, dry
        As in `perform`.
    whole
        The take of the whole piece at full speed without a count-in, where it has been played already.
    """

    arrangement: Arrangement
    clock: Clock
    placed: tuple[_Placed, ...]
    seed: int = 1
    dry: bool = False
    whole: Take | None = field(default=None, compare=False, repr=False)

    def perform(self, timeline: Timeline, *, flat: bool = False) -> Take:
        """Play it on a timeline; parameters and result as of `perform`."""
        take = self.struck(timeline, flat=flat)
        return replace(take, notes=with_free_strings(take.notes, self.arrangement.tuning))

    def struck(self, timeline: Timeline, *, flat: bool = False) -> Take:
        """Return a take as `perform` does, without saying which strings are free to ring along."""
        if self.whole is not None and not flat and timeline == _whole_piece(self.arrangement):
            return self.whole
        song, clock = self.arrangement.song, self.clock
        runs = runs_of(self.arrangement, timeline, clock)
        notes: list[TakeNote] = []
        bar_offset = gesture_count = 0
        struck_s: dict[bool, float] = {}
        for run in runs:
            inside = self.placed[
                _index_of(self.placed, run.start_beat) : _index_of(self.placed, run.end_beat)
            ]
            pulse_s = clock.beat_s * float(song.meter.pulse_beat / run.span.speed)
            for _, together in groupby(inside, key=_onset_of):
                strokes: list[TakeNote] = []
                for item in together:
                    bar_index = item.bar_index - run.span.first + bar_offset
                    before_s = struck_s.get(item.gesture.layer == SECOND, -inf)
                    strokes += _strings(item, run, gesture_count, bar_index, before_s, pulse_s, flat=flat)
                    gesture_count += 1
                notes += _one_a_string(strokes)
                for second in {note.layer == SECOND for note in strokes}:
                    own = [note.onset_s for note in strokes if (note.layer == SECOND) == second]
                    struck_s[second] = max(own)
            bar_offset += run.span.last - run.span.first + 1
        ordered = tuple(sorted(_one_at_a_time(notes), key=lambda note: (note.onset_s, note.string)))
        return Take(
            ordered,
            count_in(self.arrangement, timeline, clock),
            played_bars_of(self.arrangement, runs, clock),
            tempo_map(self.arrangement, runs, clock),
            runs[-1].end_s,
            flat,
        )


GIVEN_WAY_ROUNDS = 12
"""How often it is looked whether that is enough: what else covers the tune's note stays as it is."""


def _whole_piece(arrangement: Arrangement) -> Timeline:
    return lay_out(arrangement, None, Fraction(1), 0)


def _giving_way(playing: Interpretation) -> Interpretation:
    """Return a playing whose second voice covers no note of the tune, as the whole piece at full speed shows it.

    A note of it that would is played softer than its mark, by no more than it takes.
    """
    whole = _whole_piece(playing.arrangement)
    given_db: dict[StrokePlace, float] = {}
    for _ in range(GIVEN_WAY_ROUNDS):
        covered = covered_notes(_softer(playing, given_db).struck(whole))
        needed_db = {place: by for place, by in clearing_db(covered).items() if place.layer == SECOND}
        if not needed_db:
            break
        for place, by_db in needed_db.items():
            given_db[place] = min(given_db.get(place, 0.0) + by_db, MOST_LOWERED_DB)
    return _softer(playing, given_db)


def _softer(playing: Interpretation, by_db: Mapping[StrokePlace, float]) -> Interpretation:
    """Return a playing with the single notes at some places played softer, and their marks lowered as much."""
    placed = []
    for item in playing.placed:
        softer_db = by_db.get(_stroke_place(item.gesture), 0.0) if item.gesture.layer == SECOND else 0.0
        deviation = replace(item.deviation, level_db=item.level_db - softer_db)
        placed.append(
            replace(item, deviation=deviation, mark_db=item.mark_db - softer_db) if softer_db else item
        )
    return replace(playing, placed=tuple(placed))


def _stroke_place(gesture: Gesture) -> StrokePlace:
    """Return where a single note is struck."""
    note = gesture.notes[0]
    return StrokePlace(
        gesture.section, gesture.pass_number, note.string, float(gesture.start_beat), gesture.layer
    )


def _letting_the_tune_through(playing: Interpretation, swing: Swing) -> Interpretation:
    """Return a playing with each note of the tune damped that rings on over a later one and would cover it."""
    whole = playing.struck(_whole_piece(playing.arrangement))
    too_long = list(ringing_too_long(whole))
    if not too_long:
        return replace(playing, whole=whole)
    placed = list(playing.placed)
    for note, later in too_long:
        item = placed[note.gesture]
        end_beat = min(item.end_beats[-1], later.beat)
        placed[note.gesture] = replace(
            item,
            end_beats=(*item.end_beats[:-1], end_beat),
            ends_s=(*item.ends_s[:-1], playing.clock.seconds(swing.beat(end_beat, item.gesture.layer))),
        )
    return replace(playing, placed=tuple(placed))


def _going(arrangement: Arrangement, seed: int, *, closes: bool) -> Going:
    """Return how these players go through a piece."""
    feel = FEELS[arrangement.song.feel]
    return Going(_drift(arrangement, seed), feel.phrase_end_part, feel.closing_tempo, closes)


def _drift(arrangement: Arrangement, seed: int) -> list[Pace]:
    """Return the tempo of each pulse of the piece, by its place."""
    song = arrangement.song
    feel, pulse_beat = FEELS[song.feel], song.meter.pulse_beat
    paces = []
    for bar in arrangement.bars:
        # A pick-up that is a bar of its own lies before its section's first beat.
        before_beat = (bar.section_bar - 1) * song.meter.bar_beat if bar.section_bar else -bar.length_beat
        pulse, beat = before_beat / pulse_beat, bar.start_beat
        for _ in range(ceil(bar.length_beat / pulse_beat)):
            paces.append(Pace(beat, tempo_drift(seed, bar.section, bar.pass_number, pulse, feel)))
            pulse, beat = pulse + 1, beat + pulse_beat
    return paces


@dataclass(frozen=True, slots=True)
class _Deviation:
    """How late a gesture comes, how much louder it and its strings are, how much longer each step between them is."""

    late_s: float = 0.0
    level_db: float = 0.0
    uneven: tuple[float, ...] = ()
    strings_db: tuple[float, ...] = ()


_STILL = _Deviation()


@dataclass(frozen=True, slots=True)
class _Placed:
    """A gesture with all that doesn't depend on the timeline.

    `onset_s` and `ends_s` (one for each string) are times of the piece's own clock, `end_beats` those of the piece;
    `bar_index` counts the arrangement's bars; `uneven` is for each step between strings by how much it is longer.
    """

    gesture: Gesture
    bar_index: int
    onset_s: float
    end_beats: tuple[Fraction, ...]
    ends_s: tuple[float, ...]
    deviation: _Deviation
    mark_db: float

    @property
    def level_db(self) -> float:
        """Its level relative to mf, deviation included."""
        return self.deviation.level_db


def _placed(
    arrangement: Arrangement, swing: Swing, clock: Clock, seed: int | None, beats: BeatWindow | None
) -> list[_Placed]:
    """Return the gestures in the order played (swing can change it within a pulse), deviating unless `seed` is None."""
    song = arrangement.song
    lines = level_lines(arrangement.bars, song.dynamics, None if song.front is None else float(song.front))
    shaping = Shaping(arrangement)
    starts = [float(bar.start_beat) for bar in arrangement.bars]
    placed = []
    gestures = (*_within(arrangement.gestures, beats), *_within(arrangement.second, beats))
    ends_beats = (*note_ends(arrangement, beats), *second_ends(arrangement, beats))
    for gesture, end_beats in zip(gestures, ends_beats, strict=True):
        deviation = _STILL if seed is None else _deviation(gesture, arrangement, seed)
        mark_db = level_db = gesture_level_db(gesture, lines)
        if seed is not None:
            level_db = bounded_db(mark_db + shaping.at(gesture) + deviation.level_db)
        placed.append(
            _Placed(
                gesture,
                max(bisect_right(starts, float(gesture.start_beat)) - 1, 0),
                clock.seconds(swing.beat(gesture.start_beat, gesture.layer)),
                end_beats,
                tuple(clock.seconds(swing.beat(beat, gesture.layer)) for beat in end_beats),
                replace(deviation, level_db=level_db),
                mark_db,
            )
        )
    return sorted(placed, key=_onset_of)


def _within(gestures: Sequence[Gesture], beats: BeatWindow | None) -> Sequence[Gesture]:
    return gestures[slice(*indices_within(gestures, beats))]


def _onset_of(item: _Placed) -> float:
    return item.onset_s


def _index_of(placed: Sequence[_Placed], bar_line: Fraction) -> int:
    """Return the index of the first gesture at a bar line or after it."""
    return bisect_left(placed, bar_line, key=lambda item: item.gesture.start_beat)


def _deviation(gesture: Gesture, arrangement: Arrangement, seed: int) -> _Deviation:
    """Return how a gesture deviates, by its place; in time as far as its song's pulse is long."""
    song = arrangement.song
    feel = FEELS[song.feel]
    bars_before = max(gesture.section_bar - 1, 0)
    pulse = (bars_before * song.meter.bar_beat + gesture.bar_beat) / song.meter.pulse_beat
    place = (seed, gesture.section, gesture.pass_number, gesture.layer, pulse)
    return _Deviation(
        time_deviation_s(*place, feel) * pulse_scale(60.0 / float(song.tempo)),
        level_deviation_db(*place, feel),
        tuple(feel.uneven_part * step_deviation(*place, step) for step in range(len(gesture.notes) - 1)),
        tuple(string_deviation_db(*place, struck, feel) for struck in range(len(gesture.notes))),
    )


def _strings(
    item: _Placed,
    run: Run,
    number: int,
    bar_index: int,
    struck_s: float,
    pulse_s: float,
    *,
    flat: bool,
) -> Iterator[TakeNote]:
    """Yield the strings of one gesture.

    Parameters
    ----------
    item, run
        The gesture and the stretch of the take in which it is played.
    number
        Which gesture of the take it is.
    bar_index
        Which bar of the take it is in.
    struck_s
        When the gesture before on the same ukulele was struck, by the take's time.
    pulse_s
        How long a pulse lasts in this run.
    flat
        Whether all strings are equally loud.
    """
    gesture, late_s = item.gesture, item.deviation.late_s
    onset_s = run.seconds(item.onset_s) + late_s
    levels_db = (
        flat_levels_db(gesture)
        if flat
        else string_levels_db(gesture, item.level_db, item.deviation.strings_db)
    )
    room_s = onset_s - struck_s
    delays_s = string_delays_s(gesture, item.level_db, pulse_s, room_s, item.deviation.uneven)
    for place, note in enumerate(gesture.notes):
        level_db, delay_s = levels_db[place], delays_s[place]
        end_s = run.end_s
        if item.end_beats[place] < run.end_beat:
            end_s = min(run.seconds(item.ends_s[place]) + late_s, run.end_s)
        length_s = SHORTEST_S if gesture.action == "chop" else max(end_s - onset_s - delay_s, SHORTEST_S)
        yield TakeNote(
            onset_s=onset_s + delay_s,
            length_s=length_s,
            level_db=level_db,
            velocity=velocity_of_level(level_db),
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
            mark_db=FLAT_LEVEL_DB if flat else item.mark_db,
            rings=gesture.rings and note.part == "tune",
            up=gesture.up,
        )


def _one_a_string(strokes: Sequence[TakeNote]) -> list[TakeNote]:
    """Return the strokes of one moment, one for each string: of those that meet the one that matters most."""
    best: dict[tuple[bool, int], TakeNote] = {}
    for note in strokes:
        other = best.get(note.own_string)
        if other is None or _weight(note) > _weight(other):
            best[note.own_string] = note
    return list(best.values())


def _weight(note: TakeNote) -> tuple[bool, bool, float]:
    """Return how much a stroke matters: the tune and its roll, then added notes, then chords, the louder first."""
    return note.part == "tune" or note.action == "roll", note.part == "added", note.level_db


def _one_at_a_time(notes: Sequence[TakeNote]) -> Iterator[TakeNote]:
    """Yield the notes, each damped at the latest when its string is struck again, by whichever layer of its ukulele."""
    ringing: dict[tuple[bool, int], TakeNote] = {}
    for note in sorted(notes, key=lambda note: (note.onset_s, note.beat)):
        before = ringing.get(note.own_string)
        if before is not None:
            room_s = note.onset_s - before.onset_s
            yield before if before.length_s <= room_s else replace(before, length_s=room_s)
        ringing[note.own_string] = note
    yield from ringing.values()
