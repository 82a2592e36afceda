"""The tune as one run of notes: ties joined over bars, each note with its chord, its phrase and its place."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from render.song import Bar, ChordSpan, Note, Pin, Source

__all__ = [
    "ChordAt",
    "Place",
    "TuneNote",
    "bar_of_beat",
    "chord_at",
    "chord_changes",
    "row_notes",
    "visits_of_bars",
]


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where a note stands in its section: the same on every pass.

    `section_bar` counts from 1 and is 0 in a pick-up; `bar_beat` counts beats from the bar's start, negative in
    a pick-up.
    """

    section: str
    section_bar: int
    bar_beat: Fraction


@dataclass(frozen=True, slots=True)
class TuneNote:
    """A note that is struck: one or more tied written notes.

    Parameters
    ----------
    start_beat, length_beat
        In the piece as played.
    midi
        MIDI key number; None when only `position` is given.
    position
        (string, fret) that the song asks for.
    pin
        Fingering that the song asks for.
    bar_index
        Index of the bar in which it is struck.
    place
        Where it stands in its section.
    visit
        Which playing of a section it belongs to, counted from 0.
    phrase
        Counted through the piece as played.
    own
        Whether its bar was replaced for this pass.
    source
        Where it stands in the file.
    """

    start_beat: Fraction
    length_beat: Fraction
    midi: int | None
    position: tuple[int, int] | None
    pin: Pin | None
    bar_index: int
    place: Place
    visit: int
    phrase: int
    own: bool
    source: Source

    @property
    def end_beat(self) -> Fraction:
        """Where it ends in the piece as played."""
        return self.start_beat + self.length_beat


@dataclass(frozen=True, slots=True)
class ChordAt:
    """A chord in the piece as played; it lasts to the next one."""

    start_beat: Fraction
    span: ChordSpan


def visits_of_bars(bars: Sequence[Bar]) -> tuple[int, ...]:
    """Return for each bar which playing of a section it belongs to, counted from 0."""
    counted = []
    visit = -1
    before: Bar | None = None
    for bar in bars:
        starts = before is None or (bar.section, bar.pass_number) != (before.section, before.pass_number)
        visit += starts
        counted.append(visit)
        before = bar
    return tuple(counted)


def _in_pickup(bar: Bar, beat: Fraction) -> bool:
    """Whether a place in a bar belongs to the pick-up of the visit that follows."""
    return Fraction(0) < bar.pickup_from < bar.length_beat and beat >= bar.pickup_from


def _place(bars: Sequence[Bar], index: int, beat: Fraction) -> Place:
    """Return the place within its section of a beat of a bar."""
    bar = bars[index]
    if _in_pickup(bar, beat) and index + 1 < len(bars):
        return Place(bars[index + 1].section, 0, beat - bar.length_beat)
    if bar.section_bar == 0:
        return Place(bar.section, 0, beat - bar.length_beat)
    return Place(bar.section, bar.section_bar, beat)


def _phrase_starts(bars: Sequence[Bar]) -> tuple[Fraction, ...]:
    """Return where phrases begin: after each breath, else with each line of music, pick-up included."""
    visits = visits_of_bars(bars)
    breathing = {
        visit
        for visit, bar in zip(visits, bars, strict=True)
        if any(mark.kind == "breath" for mark in bar.marks)
    }
    starts = set()
    for index, bar in enumerate(bars):
        new_visit = index == 0 or visits[index] != visits[index - 1]
        new_line = new_visit or bar.line != bars[index - 1].line
        if new_visit or (new_line and visits[index] not in breathing):
            before = bars[index - 1] if index else None
            led_in = before is not None and _in_pickup(before, before.pickup_from)
            starts.add(before.start_beat + before.pickup_from if before and led_in else bar.start_beat)
        starts |= {bar.start_beat + mark.at_beat for mark in bar.marks if mark.kind == "breath"}
    first = bars[0].start_beat if bars else Fraction(0)
    return tuple(sorted(starts | {first}))


def row_notes(bars: Sequence[Bar], row: str = "melody") -> Iterator[TuneNote]:
    """Yield the struck notes of the `melody` or the `between` row of the piece as played, ties joined."""
    visits = visits_of_bars(bars)
    phrase_starts = _phrase_starts(bars)
    open_note: TuneNote | None = None
    tied = False
    phrase = 0
    for index, bar in enumerate(bars):
        notes: tuple[Note, ...] = (bar.melody if row == "melody" else bar.between) or ()
        for note in notes:
            start = bar.start_beat + note.start_beat
            if open_note is not None and tied and not note.is_rest and open_note.end_beat == start:
                open_note = replace(open_note, length_beat=open_note.length_beat + note.length_beat)
                tied = note.tied_on
                continue
            if open_note is not None:
                yield open_note
                open_note = None
            tied = note.tied_on
            if note.is_rest:
                continue
            while phrase + 1 < len(phrase_starts) and phrase_starts[phrase + 1] <= start:
                phrase += 1
            open_note = TuneNote(
                start_beat=start,
                length_beat=note.length_beat,
                midi=note.pitch.midi if note.pitch else None,
                position=note.position,
                pin=note.pin,
                bar_index=index,
                place=_place(bars, index, note.start_beat),
                visit=visits[index] + _in_pickup(bar, note.start_beat),
                phrase=phrase,
                own=bar.own,
                source=note.source,
            )
    if open_note is not None:
        yield open_note


def chord_changes(bars: Sequence[Bar]) -> tuple[ChordAt, ...]:
    """Return the chords of the piece as played, one entry for each change, in order."""
    changes: list[ChordAt] = []
    for bar in bars:
        for span in bar.chords:
            if changes and (changes[-1].span.chord, changes[-1].span.shape) == (span.chord, span.shape):
                continue
            changes.append(ChordAt(bar.start_beat + span.start_beat, span))
    return tuple(changes)


def chord_at(changes: Sequence[ChordAt], beat: Fraction) -> ChordSpan | None:
    """Return the chord that holds at a beat of the piece as played, None before the first."""
    after = bisect_right(changes, beat, key=lambda change: change.start_beat)
    return changes[after - 1].span if after else None


def bar_of_beat(bars: Sequence[Bar], beat: Fraction) -> int:
    """Return the index of the bar that holds a beat of the piece; the last bar for its very end."""
    return max(bisect_right(bars, beat, key=lambda bar: bar.start_beat) - 1, 0)
