"""A playing of measures as bars of one meter: everything laid on one line of time and cut anew."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from tercet.exchange.leadsheet import LeadChord, LeadMark, LeadMeasure, LeadNote, TuneError
from tercet.exchange.runs import Run
from tercet.song import ChordSpan, Mark, Meter, Note, Pin, Syllable
from tercet.song.model import notes_sung
from tercet.theory import Pitch

__all__ = [
    "BarContent",
    "Playing",
    "cut_into_bars",
    "with_breaths_between",
    "with_ended_hairpins",
    "with_ties_between",
]

_Placed = TypeVar("_Placed", LeadChord, LeadMark)

MOST_IN_A_BAR = 64
"""Notes, chords or marks, as in a song file."""

FINEST_BEAT = Fraction(1, 1000)
"""The shortest length that a song file can write."""


@dataclass(frozen=True, slots=True)
class BarContent:
    """What stands in one bar, as the rows of a song hold it: None where a row has nothing for it.

    `new_line` says whether a line of the source starts nearer to this bar line than to another: a pick-up to a line
    stands in the bar before.
    """

    chords: tuple[ChordSpan, ...] | None
    melody: tuple[Note, ...]
    words: tuple[Syllable, ...] | None
    marks: tuple[Mark, ...] | None
    new_line: bool = False

    def moved(self, beats: Fraction) -> BarContent:
        """Return the same, so many beats later."""
        return replace(
            self,
            chords=tuple(replace(each, start_beat=each.start_beat + beats) for each in self.chords or ())
            or None,
            melody=tuple(replace(note, start_beat=note.start_beat + beats) for note in self.melody),
            marks=tuple(replace(mark, at_beat=mark.at_beat + beats) for mark in self.marks or ()) or None,
        )

    def split(self, at_beat: Fraction) -> tuple[BarContent, BarContent]:
        """Return what starts before a place, and what starts there or later, counted from the same bar line."""
        head = tuple(note for note in self.melody if note.start_beat < at_beat)
        tail = self.melody[len(head) :]
        words = self.words or ()
        sung = sum(note.start_beat < at_beat for note in notes_sung(self.melody)) if words else 0
        chords, marks = self.chords or (), self.marks or ()
        return (
            BarContent(
                tuple(span for span in chords if span.start_beat < at_beat) or None,
                head,
                words[:sung] or None,
                tuple(mark for mark in marks if mark.at_beat < at_beat) or None,
                self.new_line,
            ),
            BarContent(
                tuple(span for span in chords if span.start_beat >= at_beat) or None,
                tail,
                words[sung:] or None,
                tuple(mark for mark in marks if mark.at_beat >= at_beat) or None,
            ),
        )


@dataclass(frozen=True, slots=True)
class Playing:
    """One playing of a section.

    Parameters
    ----------
    bars
        Its bars, all of full length.
    pickup, pickup_beat
        What comes before its first bar line, and how long that is; None and 0 without one.
    free_beat
        How much time at its end is left for the pick-up that follows: what its last bar lacked.
    last_number
        The file's number of its last measure.
    ends_in_breath
        Whether a breath stands at its very end, so that it belongs to the start of what follows.

    Until `with_ties_between` has been there, a last note that is tied to what follows is marked `tied_on`.
    """

    bars: tuple[BarContent, ...]
    pickup: BarContent | None
    pickup_beat: Fraction
    free_beat: Fraction
    last_number: str
    ends_in_breath: bool = False

    @property
    def resting_beat(self) -> Fraction:
        """How much of the last bar's end is rest on which nothing is said."""
        last = self.bars[-1]
        said = dict(zip(notes_sung(last.melody), last.words or (), strict=False))
        resting = Fraction(0)
        for note in reversed(last.melody):
            if not note.is_rest or (note in said and not said[note].holds):
                break
            resting += note.length_beat
        return resting

    def pickup_as_bar(self, meter: Meter) -> Playing:
        """Return the playing with its pick-up turned into a whole bar that starts with rests."""
        if self.pickup is None:
            return self
        gap = meter.bar_beat - self.pickup_beat
        moved = self.pickup.moved(gap)
        before = ChordSpan(Fraction(0), gap if moved.chords else meter.bar_beat, None)
        melody = (Note(Fraction(0), gap), *moved.melody)
        words = moved.words
        if words and len(notes_sung(melody)) > len(words):
            words = (Syllable(""), *words)
        bar = replace(moved, chords=(before, *(moved.chords or ())), melody=melody, words=words)
        return replace(self, bars=(bar, *self.bars), pickup=None, pickup_beat=Fraction(0))


@dataclass(frozen=True, slots=True)
class _Time:
    """Everything of a playing on one line of time, in quarters from its start."""

    notes: list[LeadNote]
    chords: list[LeadChord]
    marks: list[LeadMark]
    lines: list[Fraction]
    length: Fraction


def cut_into_bars(measures: Sequence[LeadMeasure], run: Run, meter: Meter) -> Playing:
    """Return the measures of a run as bars of a meter, with the words of its verse.

    A first measure that is short, at the start or after another short one, is a pick-up, and so is what the run has
    before it. A last bar that isn't full is filled up with rest.
    """
    start = run.start - run.has_pickup
    own = measures[start : run.stop]
    bar_quarter = Fraction(4 * meter.upper, meter.lower)
    time = _on_one_line(own)
    pickup_quarter = own[0].length_quarter if run.has_pickup else _pickup_quarter(measures, run, bar_quarter)
    count = max(-(-(time.length - pickup_quarter) // bar_quarter), 1)
    edges = [pickup_quarter + index * bar_quarter for index in range(int(count) + 1)]
    filled = edges[-1] - time.length
    cutter = _Cutter(time, run.verse, Fraction(meter.lower, 4), _chord_before(measures, start))
    pickup = cutter.bar(Fraction(0), pickup_quarter, is_pickup=True) if pickup_quarter else None
    bars = tuple(cutter.bar(low, high) for low, high in pairwise(edges))
    beats = Fraction(meter.lower, 4)
    breath = any(mark.kind == "breath" and mark.start_quarter == time.length for mark in time.marks)
    return Playing(
        bars, pickup, pickup_quarter * beats, filled * beats, own[-1].number, breath and not filled
    )


def _pickup_quarter(measures: Sequence[LeadMeasure], run: Run, bar: Fraction) -> Fraction:
    """Return the length of the pick-up that a playing starts with, or 0."""
    start = run.start
    first = measures[start]
    if run.stop - start < 2 or first.length_quarter >= min(first.nominal_quarter, bar):
        return Fraction(0)
    after_short = start > 0 and measures[start - 1].length_quarter < measures[start - 1].nominal_quarter
    if start == 0 or after_short or measures[start + 1].length_quarter >= measures[start + 1].nominal_quarter:
        return first.length_quarter
    return Fraction(0)


def _on_one_line(measures: Sequence[LeadMeasure]) -> _Time:
    time = _Time([], [], [], [], sum((measure.length_quarter for measure in measures), Fraction(0)))
    now = Fraction(0)
    for measure in measures:
        if measure.new_line:
            time.lines.append(now)
        time.notes.extend(replace(note, start_quarter=note.start_quarter + now) for note in measure.notes)
        time.chords.extend(
            replace(chord, start_quarter=chord.start_quarter + now) for chord in measure.chords
        )
        time.marks.extend(replace(mark, start_quarter=mark.start_quarter + now) for mark in measure.marks)
        now += measure.length_quarter
    time.notes.sort(key=_place)
    time.chords.sort(key=_place)
    time.marks.sort(key=_place)
    return time


def _place(item: LeadNote | LeadChord | LeadMark) -> Fraction:
    return item.start_quarter


def _between(items: list[_Placed], low: Fraction, high: Fraction) -> list[_Placed]:
    """Return what starts from one place to before another; the items are in order of place."""
    return items[bisect_left(items, low, key=_place) : bisect_left(items, high, key=_place)]


def _chord_before(measures: Sequence[LeadMeasure], start: int) -> LeadChord:
    """Return the chord that goes on where a playing starts without one of its own."""
    for measure in reversed(measures[:start]):
        if measure.chords:
            return replace(
                max(measure.chords, key=lambda chord: chord.start_quarter), start_quarter=Fraction(0)
            )
    return LeadChord(Fraction(0), None)


class _Cutter:
    """Cuts a line of time into bars, from left to right."""

    def __init__(self, time: _Time, verse: int, beats: Fraction, chord: LeadChord) -> None:
        self._time = time
        self._verse = verse
        self._beats = beats
        self._chord = chord
        self._has_chord = False
        self._starts = [note.start_quarter for note in time.notes]
        self._from = 0

    def bar(self, low: Fraction, high: Fraction, *, is_pickup: bool = False) -> BarContent:
        """Return what stands between two places."""
        melody, words = self._melody(low, high)
        chords = self._chords(low, high, is_pickup=is_pickup)
        marks = self._marks(low, high)
        if (
            len(melody) > MOST_IN_A_BAR
            or len(chords or ()) > MOST_IN_A_BAR
            or len(marks or ()) > MOST_IN_A_BAR
        ):
            raise TuneError(
                f"a bar of this tune has more than {MOST_IN_A_BAR} notes or chords, and a song's bar at most so many"
            )
        half = (high - low) / 2
        new_line = bisect_left(self._time.lines, low - half) < bisect_left(self._time.lines, low + half)
        return BarContent(chords, melody, words, marks, new_line)

    def _melody(self, low: Fraction, high: Fraction) -> tuple[tuple[Note, ...], tuple[Syllable, ...] | None]:
        notes: list[Note] = []
        words: list[Syllable] = []
        sung = False
        at = low
        stop = bisect_left(self._starts, high)
        for index in range(max(self._from - 1, 0), stop):
            lead = self._time.notes[index]
            end = lead.end_quarter
            if end <= low or lead.pitch is None:
                continue
            first, last = max(lead.start_quarter, low), min(end, high)
            if first > at:
                notes.append(self._rest(at, first, low))
            struck = lead.start_quarter >= low and not self._continues(index)
            start_beat, length_beat = (first - low) * self._beats, self._length(last - first)
            if struck:
                pin = lead.pin or (Pin("alone", (lead.position[0],)) if lead.position else None)
                notes.append(Note(start_beat, length_beat, lead.pitch, pin=pin))
            else:
                notes.append(Note(start_beat, length_beat, goes_on=True))
            if lead.tied_on and end == last == self._time.length:
                notes[-1] = replace(notes[-1], tied_on=True)
            if struck:
                syllable = dict(lead.words).get(self._verse)
                sung = sung or syllable is not None
                words.append(syllable or Syllable(""))
            at = last
        self._from = stop
        if not notes:
            return self._spoken(low, high)
        if at < high:
            notes.append(self._rest(at, high, low))
        return tuple(notes), tuple(words) if sung else None

    def _spoken(self, low: Fraction, high: Fraction) -> tuple[tuple[Note, ...], tuple[Syllable, ...] | None]:
        """Return a bar of rests: one for each syllable, or a single one in a bar without words."""
        inside = self._time.notes[bisect_left(self._starts, low) : bisect_left(self._starts, high)]
        said = {
            rest.start_quarter: dict(rest.words)[self._verse]
            for rest in inside
            if rest.pitch is None and self._verse in dict(rest.words)
        }
        if not said:
            return (self._rest(low, high, low),), None
        said.setdefault(low, Syllable(""))
        edges = [*sorted(said), high]
        return tuple(self._rest(start, end, low) for start, end in pairwise(edges)), tuple(
            said[start] for start in edges[:-1]
        )

    def _length(self, quarters: Fraction) -> Fraction:
        beats = quarters * self._beats
        if beats < FINEST_BEAT or beats.denominator > 10**6:
            raise TuneError(
                f"a note or rest is {float(beats):g} beats long, which a song can't hold: the file is damaged, or "
                "it was played freely; export it with quantised lengths"
            )
        return beats

    def _rest(self, start: Fraction, end: Fraction, low: Fraction) -> Note:
        return Note((start - low) * self._beats, self._length(end - start))

    def _goes_on(self, index: int) -> bool:
        """Return whether the next note has the same pitch and follows at once."""
        notes = self._time.notes
        lead, following = notes[index], notes[index + 1]
        return (
            following.pitch is not None
            and lead.pitch is not None
            and following.pitch.midi == lead.pitch.midi
            and following.start_quarter == lead.end_quarter
        )

    def _continues(self, index: int) -> bool:
        return index > 0 and self._time.notes[index - 1].tied_on and self._goes_on(index - 1)

    def _chords(self, low: Fraction, high: Fraction, *, is_pickup: bool) -> tuple[ChordSpan, ...] | None:
        inside = _between(self._time.chords, low, high)
        if not inside and (self._has_chord or is_pickup):
            return None
        if not inside or inside[0].start_quarter > low:
            inside.insert(0, replace(self._chord, start_quarter=low))
        self._chord, self._has_chord = inside[-1], True
        ends = [*(chord.start_quarter for chord in inside[1:]), high]
        return tuple(
            ChordSpan(
                (chord.start_quarter - low) * self._beats,
                self._length(end - chord.start_quarter),
                chord.chord,
                chord.shape,
                chord.fingers,
            )
            for chord, end in zip(inside, ends, strict=True)
            if end > chord.start_quarter
        )

    def _marks(self, low: Fraction, high: Fraction) -> tuple[Mark, ...] | None:
        found: dict[tuple[Fraction, str], Mark] = {}
        for mark in _between(self._time.marks, low, high):
            at = (mark.start_quarter - low) * self._beats
            found.setdefault((at, mark.kind), Mark(at, mark.kind, mark.value))
        return tuple(found.values()) or None


def with_ties_between(playings: Sequence[Playing]) -> list[Playing]:
    """Return the playings, their first notes going on with what is tied to them; other ties at their ends are loose.

    A note that goes on isn't struck, so it takes no syllable.
    """
    mended = list(playings)
    for index in range(len(mended)):
        playing = mended[index]
        if playing.pickup is not None and _tied(playing.pickup.melody):
            first = playing.bars[0]
            if _pitch(playing.pickup.melody) == first.melody[0].pitch:
                first = _going_on(first)
            playing = replace(playing, pickup=_untied(playing.pickup), bars=(first, *playing.bars[1:]))
        last = playing.bars[-1]
        if _tied(last.melody) and index + 1 < len(mended):
            mended[index + 1] = _continued(mended[index + 1], playing)
        mended[index] = replace(playing, bars=(*playing.bars[:-1], _untied(last)))
    return mended


def with_breaths_between(playings: Sequence[Playing]) -> list[Playing]:
    """Return the playings, a breath at the end of one standing at the start of the next."""
    breath = Mark(Fraction(0), "breath")
    mended = list(playings)
    for index, playing in enumerate(playings[:-1]):
        following = mended[index + 1]
        if not playing.ends_in_breath:
            continue
        if following.pickup is not None:
            marks = (breath, *(following.pickup.marks or ()))
            mended[index + 1] = replace(following, pickup=replace(following.pickup, marks=marks))
        else:
            first = replace(following.bars[0], marks=(breath, *(following.bars[0].marks or ())))
            mended[index + 1] = replace(following, bars=(first, *following.bars[1:]))
    return mended


def _tied(melody: tuple[Note, ...]) -> bool:
    return any(note.tied_on for note in melody)


def _untied(bar: BarContent) -> BarContent:
    return replace(bar, melody=tuple(replace(note, tied_on=False) for note in bar.melody))


def _pitch(notes: Sequence[Note]) -> Pitch | None:
    """Return the pitch of the last note that is struck."""
    return next((note.pitch for note in reversed(notes) if note.is_struck), None)


def _going_on(bar: BarContent) -> BarContent:
    """Return what stands there with its first note held on from before."""
    first = replace(bar.melody[0], pitch=None, goes_on=True, pin=None)
    return replace(bar, melody=(first, *bar.melody[1:]), words=(bar.words or ())[1:] or None)


def _continued(following: Playing, before: Playing) -> Playing:
    """Return a playing that goes on with the last note before it, if it starts with that pitch where that ends."""
    first = following.pickup or following.bars[0]
    if first.melody[0].pitch != _pitch([note for bar in before.bars for note in bar.melody]):
        return following
    if before.resting_beat != following.pickup_beat:
        return following
    if following.pickup is not None:
        return replace(following, pickup=_going_on(first))
    return replace(following, bars=(_going_on(first), *following.bars[1:]))


def with_ended_hairpins(playings: Sequence[Playing]) -> tuple[list[Playing], int]:
    """Return the playings without hairpins that no later mark ends, and how many were dropped."""
    ended, dropped = False, 0
    kept: list[Playing] = []
    for playing in reversed(playings):
        bars: list[BarContent] = []
        for bar in reversed([*([playing.pickup] if playing.pickup else []), *playing.bars]):
            marks, ended, lost = _ended(bar.marks or (), ended)
            dropped += lost
            bars.insert(0, replace(bar, marks=marks or None))
        pickup = bars.pop(0) if playing.pickup else None
        kept.insert(0, replace(playing, bars=tuple(bars), pickup=pickup))
    return kept, dropped


def _ended(marks: tuple[Mark, ...], ended: bool) -> tuple[tuple[Mark, ...], bool, int]:
    """Return a bar's marks without its endless hairpins, whether an end is known before it, and how many went."""
    kept: list[Mark] = []
    end_at: Fraction | None = None
    dropped = 0
    for mark in sorted(marks, key=lambda mark: -mark.at_beat):
        if mark.kind == "hairpin" and not (ended or (end_at is not None and end_at > mark.at_beat)):
            dropped += 1
            continue
        if mark.kind in ("dynamic", "hairpin") and end_at is None:
            end_at = mark.at_beat
        kept.append(mark)
    return tuple(mark for mark in marks if mark in kept), ended or end_at is not None, dropped
