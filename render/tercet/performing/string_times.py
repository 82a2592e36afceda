"""When each string of a gesture is struck, and how long it rings.

A roll or a strum spreads in time. A string rings until it is plucked again, the left hand leaves it, the chord
changes or all are damped. A note of the tune that lies a third or more from the next is left to ring, too, and so two
strings sound as one instrument; by step, before a rest and at the end of a phrase, where the tune takes breath, it
ends as written. One that the song adds lasts as written, unless the tune needs its string or its finger before. The
strings under the tune and those of a strum are let ring, as players do: what ends them is what the two hands do next.
A string of a broken chord lasts as the arrangement has it. Where the style is `ringing`, a note of the tune rings on
over those that follow.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import sqrt

from tercet.arranging import Arrangement, Gesture, StringNote
from tercet.song import played_visits
from tercet.theory import Chord

__all__ = [
    "BREATH_PART",
    "ROLL_LIMIT_S",
    "ROLL_PULSE_S",
    "ROLL_ROOM_PART",
    "ROLL_STEP_RANGE_S",
    "BeatWindow",
    "even_step",
    "indices_within",
    "note_ends",
    "second_ends",
    "string_delays_s",
]

ROLL_STEP_S = 0.022
ROLL_STEP_RANGE_S = (0.015, 0.030)
ROLL_LIMIT_S = 0.090
"""From string to string a roll takes about 22 ms at mf and 100 pulses a minute, always 15–30 ms, and at most 90 ms in
all. The figures come from trials."""

ROLL_STEP_PER_DB_S = 0.0006
"""A roll is wider when it is soft …"""

ROLL_PULSE_S = 0.6
"""… and when it is slow: its step grows with the root of the pulse, which has this length at 100 a minute."""

STRUM_STEP_PART = 0.55
UP_STRUM_PART = 0.85
"""A strum is quicker than a roll, and a finger coming up quicker than a hand falling."""

ROLL_ROOM_PART = 0.6
"""A gesture takes at most this part of the time since the gesture before was struck."""


def string_delays_s(
    gesture: Gesture, level_db: float, pulse_s: float, room_s: float, uneven: Sequence[float] = ()
) -> tuple[float, ...]:
    """Return when each string of a gesture is struck, in seconds from its beat: all before it, the last on it.

    The tune is struck last and on the beat: it is loudest, and a voice that is later and louder is heard as
    louder (Goebl & Parncutt 2002).

    Parameters
    ----------
    gesture
        Its strings are in the order struck.
    level_db
        How loud it is, relative to mf.
    pulse_s
        How long a pulse lasts.
    room_s
        Time since the gesture before was struck.
    uneven
        For each step between two strings by how much it is longer, as a part of an even one; even without it.
    """
    count = len(gesture.notes)
    if count == 1:
        return (0.0,)
    shortest_s, longest_s = ROLL_STEP_RANGE_S
    even_s, part_of_roll = even_step(gesture, level_db)
    step_s = min(max(even_s * sqrt(pulse_s / ROLL_PULSE_S), shortest_s), longest_s) * part_of_roll
    steps_s = [step_s * (1.0 + part) for part in uneven] or [step_s] * (count - 1)
    if gesture.action == "roll":
        steps_s = [min(max(each_s, shortest_s), longest_s) for each_s in steps_s]
    whole_s = sum(steps_s)
    spread_s = min(whole_s, ROLL_LIMIT_S, max(ROLL_ROOM_PART * room_s, 0.0))
    return tuple(-spread_s * sum(steps_s[place:]) / whole_s for place in range(count))


def even_step(gesture: Gesture, level_db: float) -> tuple[float, float]:
    """Return the step of a roll at 100 pulses a minute in seconds, and which part of it this gesture takes."""
    step_s = ROLL_STEP_S - ROLL_STEP_PER_DB_S * level_db
    if gesture.action == "roll":
        return step_s, 1.0
    return step_s, STRUM_STEP_PART * (UP_STRUM_PART if gesture.up else 1.0)


# ---- how long strings ring


BREATH_PART = Fraction(1, 4)
"""The last note of a phrase gives up this part of its length, and no more than this part of a pulse."""

THIRD_SEMITONES = 3
WHOLE_STEP_SEMITONES = 2
"""Notes of the tune that lie nearer to each other than a third, by step or on one pitch, don't ring into each other;
where the style lets the tune ring, those that lie nearer than a whole step."""


BeatWindow = tuple[Fraction, Fraction]
"""From one beat of the piece as played up to another."""


def indices_within(gestures: Sequence[Gesture], beats: BeatWindow | None) -> tuple[int, int]:
    """Return which gestures, in order, begin within some beats: from one index up to another. All without beats."""
    if beats is None:
        return 0, len(gestures)
    first, last = (bisect_left(gestures, beat, key=lambda gesture: gesture.start_beat) for beat in beats)
    return first, last


def note_ends(arrangement: Arrangement, beats: BeatWindow | None = None) -> tuple[tuple[Fraction, ...], ...]:
    """Return for each gesture of an arrangement where each of its notes ends, in beats of the piece as played.

    With `beats`, for those that begin within them.

    A chord's string ends no earlier than its gesture is written to, and rings on until the first of these:

    - the string is struck again, by whichever layer;
    - the left hand takes another fret on it;
    - the chord changes;
    - a chop damps all strings;
    - this playing of its section is over, or a phrase that ends with a breath.

    A note of the tune that lasts up to the end of its phrase, or of this playing of its section, ends a little
    earlier; that of the piece rings out. One that the next follows at once, a third or more away, rings on until its
    string is struck again, the left hand takes another fret on it, the tune rests or takes breath, or a single note
    comes that is nearer than a third.

    One that the arrangement lets ring goes on over the next ones until its string or its finger is needed, a note a
    semitone away is struck, a chord comes that it doesn't belong to, or the tune rests or takes breath. Tones a whole
    step apart sound together: that is what the style is for.

    Nothing later than that is looked at, so an edit in a section changes nothing in earlier ones.
    """
    stops = _Stops(arrangement)
    return tuple(
        tuple(stops.end(index, note) for note in arrangement.gestures[index].notes)
        for index in range(*indices_within(arrangement.gestures, beats))
    )


def second_ends(
    arrangement: Arrangement, beats: BeatWindow | None = None
) -> tuple[tuple[Fraction, ...], ...]:
    """Return for each gesture of the second voice where its note ends: as written, but it breathes with the tune.

    With `beats`, for those that begin within them.
    """
    breaths, pulse_beat = _phrase_ends(arrangement), arrangement.song.meter.pulse_beat
    second = arrangement.second[slice(*indices_within(arrangement.second, beats))]
    return tuple((_written_end(gesture, breaths, pulse_beat),) for gesture in second)


class _Stops:
    """What ends the strings of an arrangement, by beat."""

    def __init__(self, arrangement: Arrangement) -> None:
        self._gestures = arrangement.gestures
        self._starts = [float(gesture.start_beat) for gesture in arrangement.gestures]
        self._chords = list(_chords(arrangement))
        changes = sorted({*_chord_changes(arrangement), *_visit_ends(arrangement), *_breaths(arrangement)})
        self._changes = changes
        self._change_starts = [float(beat) for beat in changes]
        self._written_ends = _written_ends(arrangement)
        self._silences = _silences(arrangement, self._written_ends)
        self._silence_starts = [float(beat) for beat in self._silences]

    def end(self, index: int, note: StringNote) -> Fraction:
        """Return where a note of a gesture ends."""
        written_beat = self._written_ends[index]
        if note.part == "added":
            return self.let_go(index, written_beat)
        if note.part == "tune":
            return max(written_beat, self.sung_on(index, note, written_beat))
        if self._gestures[index].action not in ("roll", "strum"):
            return written_beat
        return max(written_beat, self.ring_end(index, note))

    def ring_end(self, index: int, note: StringNote) -> Fraction:
        """Return where a note of a gesture is ended by what comes after it."""
        last_beat = self._changes[bisect_right(self._change_starts, self._starts[index])]
        for gesture in self._after(index, last_beat):
            if _ends(gesture, note):
                return gesture.start_beat
        return last_beat

    def sung_on(self, index: int, note: StringNote, written_beat: Fraction) -> Fraction:
        """Return where a note of the tune is ended by what comes after it, at the latest where the tune is silent."""
        if note.fret is None:
            return written_beat
        last_beat = self._silences[bisect_left(self._silence_starts, float(written_beat))]
        nearest = THIRD_SEMITONES
        if self._gestures[index].rings:
            last_beat, nearest = self._leaves_chord(index, note, last_beat), WHOLE_STEP_SEMITONES
        ends = (bisect_left(self._starts, float(beat)) for beat in (written_beat, last_beat))
        for gesture in self._gestures[slice(*ends)]:
            if _ends(gesture, note) or _is_near(gesture, note, nearest):
                return gesture.start_beat
        return last_beat

    def _leaves_chord(self, index: int, note: StringNote, last_beat: Fraction) -> Fraction:
        """Return where a chord comes, before a beat, that a note doesn't belong to; else that beat."""
        first = bisect_right(self._chords, self._gestures[index].start_beat, key=lambda change: change[0])
        for beat, chord in self._chords[first:]:
            if beat >= last_beat:
                break
            if chord is not None and note.midi % 12 not in chord.pitch_classes:
                return beat
        return last_beat

    def let_go(self, index: int, written_beat: Fraction) -> Fraction:
        """Return where an added note ends: as written, or where the tune needs its string or its finger."""
        for gesture in self._after(index, written_beat):
            if _sings(gesture) and _ends(gesture, self._gestures[index].notes[-1]):
                return gesture.start_beat
        return written_beat

    def _after(self, index: int, last_beat: Fraction) -> Sequence[Gesture]:
        """Return the gestures that begin later than one of them and before a beat."""
        first = bisect_right(self._starts, self._starts[index])
        return self._gestures[first : bisect_left(self._starts, float(last_beat))]


def _ends(gesture: Gesture, note: StringNote) -> bool:
    """Whether a gesture ends a string that rings: it strikes it, takes another fret on it, or damps all."""
    if gesture.action == "chop" or any(other.string == note.string for other in gesture.notes):
        return True
    if not gesture.shape or note.fret is None:
        return False
    return (gesture.shape[4 - note.string] or 0) != note.fret


def _is_near(gesture: Gesture, note: StringNote, nearest: int) -> bool:
    """Whether a gesture brings a single note that would blur with one that rings: one that is nearer than that."""
    other = gesture.notes[-1]
    return other.part != "chord" and abs(other.midi - note.midi) < nearest


def _chords(arrangement: Arrangement) -> Iterator[tuple[Fraction, Chord | None]]:
    for bar in arrangement.bars:
        yield from ((bar.start_beat + span.start_beat, span.chord) for span in bar.chords)


def _chord_changes(arrangement: Arrangement) -> Iterator[Fraction]:
    yield from (beat for (_, before), (beat, chord) in pairwise(_chords(arrangement)) if chord != before)


def _visit_ends(arrangement: Arrangement) -> Iterator[Fraction]:
    """Yield where one playing of a section gives way to the next, and the end of the piece."""
    for visit in played_visits(arrangement.bars):
        _, end_beat = visit.bar_lines_beat
        yield end_beat


def _written_ends(arrangement: Arrangement) -> list[Fraction]:
    """Return where each gesture is written to end, less the breath that the tune takes before a phrase or section."""
    breaths, pulse_beat = _phrase_ends(arrangement), arrangement.song.meter.pulse_beat
    return [
        _written_end(gesture, breaths if _sings(gesture) else frozenset(), pulse_beat)
        for gesture in arrangement.gestures
    ]


def _written_end(gesture: Gesture, breaths: frozenset[Fraction], pulse_beat: Fraction) -> Fraction:
    """Return where a gesture is written to end, less a breath if it lasts up to one."""
    end_beat = gesture.start_beat + gesture.length_beat
    if not breaths or end_beat not in breaths:
        return end_beat
    return end_beat - BREATH_PART * min(gesture.length_beat, pulse_beat)


def _silences(arrangement: Arrangement, written_ends: Sequence[Fraction]) -> list[Fraction]:
    """Return where the tune falls silent: before a rest, for a breath, at the end of the piece."""
    tune = [pair for pair in zip(arrangement.gestures, written_ends, strict=True) if _sings(pair[0])]
    rests = [end for (_, end), (now, _) in pairwise(tune) if end < now.start_beat]
    return sorted([*rests, *(end for _, end in tune[-1:])])


def _sings(gesture: Gesture) -> bool:
    return gesture.notes[-1].part == "tune"


def _phrase_ends(arrangement: Arrangement) -> frozenset[Fraction]:
    """Return where the tune takes breath: before the next phrase of a section, and before the next section."""
    tune = [gesture for gesture in arrangement.gestures if _sings(gesture)]
    starts = (now.start_beat for before, now in pairwise(tune) if before.phrase != now.phrase)
    *visit_ends, _ = _visit_ends(arrangement)
    return frozenset([*starts, *visit_ends])


def _breaths(arrangement: Arrangement) -> Iterator[Fraction]:
    for bar in arrangement.bars:
        yield from (bar.start_beat + mark.at_beat for mark in bar.marks if mark.kind == "breath")
