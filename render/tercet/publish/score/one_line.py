"""One line of music by itself, as it is first played: drawn while it is being written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from tercet.arranging import Arrangement
from tercet.song import Bar, ChordSpan, Mark, Measure, Note, PlayedVisit

__all__ = ["line_alone"]

_Placed = TypeVar("_Placed", Note, ChordSpan)


def line_alone(
    arrangement: Arrangement, visit: PlayedVisit, line: int
) -> tuple[Arrangement, tuple[int, ...]]:
    """Return an arrangement that is one line of music of a visit, and for each of its gestures the index in the whole.

    A pick-up that leads into the line stands before it; one that leads into what follows is left out.

    Parameters
    ----------
    arrangement
        The whole piece.
    visit
        One of its `played_visits`.
    line
        Which line of the section, from 0.
    """
    measures = [measure for measure in visit.measures if measure.line == line]
    spans = [(measure.start_beat, measure.end_beat) for measure in measures]
    inside = [
        index for index, gesture in enumerate(arrangement.gestures) if _within(gesture.start_beat, spans)
    ]
    alone = replace(
        arrangement,
        bars=tuple(map(_bar_of, measures)),
        gestures=tuple(arrangement.gestures[index] for index in inside),
        second=tuple(gesture for gesture in arrangement.second if _within(gesture.start_beat, spans)),
    )
    return alone, tuple(inside)


def _within(beat: Fraction, spans: Sequence[tuple[Fraction, Fraction]]) -> bool:
    return any(start <= beat < end for start, end in spans)


def _bar_of(measure: Measure) -> Bar:
    """Return a measure as a bar of its own."""
    bar, low, length = measure.bar, measure.low_beat, measure.length_beat
    return replace(
        bar,
        section=measure.section,
        pass_number=measure.pass_number,
        section_bar=measure.section_bar,
        line=measure.line,
        start_beat=measure.start_beat,
        length_beat=length,
        chords=_moved(measure.chords, low, length) or (ChordSpan(Fraction(0), length, None),),
        melody=_moved(measure.melody, low, length),
        between=None if bar.between is None else _moved(_starting_in(bar.between, measure), low, length),
        words=tuple((at - low, syllable) for at, syllable in bar.words if measure.holds(at)),
        marks=tuple(_mark_at(mark, mark.at_beat - low) for mark in bar.marks if measure.holds(mark.at_beat)),
        pickup_from=length if measure.section_bar else Fraction(0),
    )


def _starting_in(notes: tuple[Note, ...], measure: Measure) -> tuple[Note, ...]:
    return tuple(note for note in notes if measure.holds(note.start_beat))


def _moved(items: Sequence[_Placed], low: Fraction, length: Fraction) -> tuple[_Placed, ...]:
    """Return notes or chords as they stand from a place of their bar on, cut at the end."""
    return tuple(
        replace(
            item,
            start_beat=item.start_beat - low,
            length_beat=min(item.length_beat, length - item.start_beat + low),
        )
        for item in items
    )


def _mark_at(mark: Mark, at_beat: Fraction) -> Mark:
    return replace(mark, at_beat=at_beat)
