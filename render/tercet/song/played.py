"""The piece as played: the form unrolled, each pass with its own rows, pick-ups laid into the bar before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from tercet.song.added_bars import playings
from tercet.song.model import Bar, ChordSpan, Mark, Note, Song, Syllable, notes_sung
from tercet.song.steps import Step

__all__ = ["cut", "played_bars"]

_Timed = TypeVar("_Timed", Note, ChordSpan)


def played_bars(song: Song) -> tuple[Bar, ...]:
    """Return the bars of the piece in the order played, each with the rows that hold on its pass.

    The notes of a pick-up stand in the bar before, from its `Bar.pickup_from` on. At the very start of the piece
    they are bar 0, which is as long as the pick-up and whose `pickup_from` is 0.
    """
    bars: list[Bar] = []
    for playing in playings(song):
        for step in playing.steps:
            if step.section_bar == 0 and bars:
                bars[-1] = _with_pickup(bars[-1], step)
            else:
                bars.append(_bar(step, bars[-1] if bars else None))
    melodies = _with_held_notes([bar.melody for bar in bars])
    betweens = _with_held_notes([bar.between for bar in bars])
    return tuple(
        replace(bar, melody=melody or (), between=between)
        for bar, melody, between in zip(bars, melodies, betweens, strict=True)
    )


def _with_held_notes(rows: Sequence[tuple[Note, ...] | None]) -> list[tuple[Note, ...] | None]:
    """Return a row's bars with the pitch and position of the notes that go on, and what they go on with tied on.

    One that has nothing to go on with is silent.
    """
    held: list[tuple[Note, ...] | None] = []
    before: Note | None = None
    for row in rows:
        notes: list[Note] = []
        for written in row or ():
            note = written
            if written.goes_on and before is None:
                note = replace(written, goes_on=False)
            elif written.goes_on and before is not None:
                note = replace(written, pitch=before.pitch, position=before.position)
                if notes:
                    notes[-1] = replace(notes[-1], tied_on=True)
                else:
                    last = held[-1] or ()
                    held[-1] = (*last[:-1], replace(last[-1], tied_on=True))
            before = None if note.is_rest else note
            notes.append(note)
        if row is None:
            before = None
        held.append(None if row is None else tuple(notes))
    return held


def _bar(step: Step, before: Bar | None) -> Bar:
    melody = step.melody or (Note(Fraction(0), step.length_beat),)
    length = step.length_beat
    start_beat = before.start_beat + before.length_beat if before else Fraction(0)
    first_number = 0 if step.section_bar == 0 else 1
    return Bar(
        number=before.number + 1 if before else first_number,
        section=step.visit.section,
        pass_number=step.visit.pass_number,
        section_bar=step.section_bar,
        line=step.line,
        start_beat=start_beat,
        length_beat=length,
        chords=step.chords or (ChordSpan(Fraction(0), length, None),),
        melody=melody,
        between=step.between,
        strum=step.strum,
        words=_placed_words(melody, step.words),
        marks=_in_order(step.marks or ()),
        pickup_from=Fraction(0) if step.section_bar == 0 else length,
        own=step.own,
    )


def _with_pickup(bar: Bar, step: Step) -> Bar:
    """Return the bar with the pick-up of the visit that follows laid into its end."""
    at = bar.length_beat - step.length_beat
    melody, chords, between, words = bar.melody, bar.chords, bar.between, bar.words
    if step.melody is not None:
        melody = cut(melody, at) + _shifted(step.melody, at)
        words = tuple((start, syllable) for start, syllable in words if start < at)
        words += tuple((at + start, word) for start, word in _placed_words(step.melody, step.words))
    if step.chords is not None:
        chords = cut(chords, at) + _shifted(step.chords, at)
    if step.between is not None:
        nothing = (Note(Fraction(0), bar.length_beat),)
        between = cut(nothing if between is None else between, at) + _shifted(step.between, at)
    marks = bar.marks + tuple(replace(mark, at_beat=mark.at_beat + at) for mark in step.marks or ())
    return replace(
        bar,
        melody=melody,
        chords=chords,
        between=between,
        words=words,
        marks=_in_order(marks),
        pickup_from=at,
        own=bar.own or step.own,
    )


def _placed_words(
    notes: tuple[Note, ...], words: tuple[Syllable, ...] | None
) -> tuple[tuple[Fraction, Syllable], ...]:
    starts = [note.start_beat for note in notes_sung(notes)]
    return tuple(zip(starts, words or (), strict=False))


def _in_order(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    return tuple(sorted(marks, key=lambda mark: mark.at_beat))


def cut(items: tuple[_Timed, ...], at_beat: Fraction) -> tuple[_Timed, ...]:
    """Return what starts before a place, ending there at the latest."""
    return tuple(
        replace(item, length_beat=min(item.length_beat, at_beat - item.start_beat))
        for item in items
        if item.start_beat < at_beat
    )


def _shifted(items: tuple[_Timed, ...], by_beat: Fraction) -> tuple[_Timed, ...]:
    return tuple(replace(item, start_beat=item.start_beat + by_beat) for item in items)
