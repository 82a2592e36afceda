"""Just the chords: the same piece, strummed over all four strings, with nobody in front.

The song's own strum pattern is followed where there is one. Without it the strums are plain enough to count: down on
each pulse, the bar's first accented; for beginners once a bar, and once more wherever a chord comes in.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from math import inf

from tercet.arranging.chord_hands import Grips
from tercet.arranging.model import Arrangement, Gesture, Problem
from tercet.arranging.piece import Piece, begun, laid_out
from tercet.arranging.problems import chord_problem
from tercet.arranging.strums import SlotAt, default_pattern, slots_of, strum_gesture
from tercet.song import Bar, Meter, Slot, Song
from tercet.theory import STRUM_SIGNS
from tercet.theory.signs import in_front

__all__ = ["chords_alone", "plain_pattern"]


def chords_alone(arrangement: Arrangement, *, simple: bool = False) -> Arrangement:
    """Return the same piece with nothing but its chords, strummed.

    Bars, strings and hands are those of the arrangement. Each chord keeps one shape through the whole piece: its pin,
    or the easiest of those that the arrangement holds where the chord first comes in, or else the easiest of all. A
    string is only left out where no hand has the chord on four. N.C. is silent.

    Every chord is heard: one that the pattern passes over gets a down stroke where it comes in. Strum rows of single
    bars stay as the song writes them.

    With nobody in front, the strums come forward: one step under the tune's marks, mf where the tune would be f. In our
    songs that sounds 1.5 to 2.5 LU softer than the demo. What the song says about how far the strums lie behind
    (`dynamics`, `front`, marks such as ``strums:pp@1``) is left out.

    Parameters
    ----------
    arrangement
        What is played otherwise, whole or simple.
    simple
        As in `arrange`: once a bar and at each chord, whatever the song writes.

    Returns
    -------
    Arrangement
        All gestures in the layer ``"strums"``; `problems` names the chords that no hand can hold.
    """
    piece = laid_out(arrangement.song, arrangement.tuning, arrangement.bars)
    grips = Grips(piece, arrangement.gestures)
    return Arrangement(
        _in_front(arrangement.song),
        arrangement.tuning,
        tuple(_without_strum_levels(bar) for bar in arrangement.bars),
        tuple(_strummed(_strokes(piece, simple=simple), grips, piece)),
        tuple(_problems(grips, piece)),
    )


def _in_front(song: Song) -> Song:
    """Return a song whose strums lie one step under its melody."""
    return replace(song, dynamics=replace(song.dynamics, strums=in_front(song.dynamics.melody)), front=None)


def _without_strum_levels(bar: Bar) -> Bar:
    """Return a bar without the marks that set how loud the strums alone are."""
    marks = tuple(
        mark for mark in bar.marks if mark.layer != "strums" or mark.kind not in ("dynamic", "hairpin")
    )
    return bar if marks == bar.marks else replace(bar, marks=marks)


def plain_pattern(meter: Meter) -> tuple[Slot, ...]:
    """Return strums that one can count: down on each pulse, the bar's first accented.

    >>> plain_pattern(Meter(6, 8))
    ('D', '.', '.', 'd', '.', '.')
    """
    return ("D", *default_pattern(meter)[1:])


def _once_a_bar(meter: Meter) -> tuple[Slot, ...]:
    return ("d", *["."] * (meter.upper - 1))


def _strokes(piece: Piece, *, simple: bool) -> list[SlotAt]:
    """Return all strokes in order, those included that are added so that every chord is heard."""
    song = piece.song
    bars = tuple(replace(bar, strum=None) for bar in piece.bars) if simple else piece.bars
    written = None if simple else song.strum
    once = simple or (written is None and song.players == "beginner")
    pattern = _once_a_bar(song.meter) if once else written or plain_pattern(song.meter)
    strokes = {slot.beat: slot for slot in slots_of(replace(song, strum=pattern), bars)}
    heard = [float(beat) for beat, slot in strokes.items() if not STRUM_SIGNS[slot.slot].chop]
    own_rows = {index for index, bar in enumerate(bars) if bar.strum is not None}
    strokes |= {slot.beat: slot for slot in _at_chords(piece, heard, own_rows, on_time=written is None)}
    return sorted(strokes.values(), key=lambda slot: slot.beat)


def _at_chords(
    piece: Piece, heard: Sequence[float], own_rows: Collection[int], *, on_time: bool
) -> Iterator[SlotAt]:
    """Yield a down stroke for each chord that would not be heard otherwise.

    Parameters
    ----------
    heard
        Beats of the strokes that sound, in order.
    own_rows
        Indices of the bars whose strums the song writes out: nothing is added there.
    on_time
        Whether a chord is to be heard as it comes in; else any time before the next one does.
    """
    starts = [float(bar.start_beat) for bar in piece.bars]
    for change, end_beat in zip(piece.chords, _chord_ends(piece), strict=True):
        beat = change.start_beat
        index = begun(starts, beat) - 1
        place = bisect_left(heard, float(beat))
        first = heard[place] if place < len(heard) else inf
        told = first == float(beat) or (not on_time and first < float(end_beat))
        if change.span.chord is not None and index not in own_rows and not told:
            yield SlotAt(index, beat - piece.bars[index].start_beat, beat, "d", written=False)


def _chord_ends(piece: Piece) -> tuple[Fraction, ...]:
    """Return where each chord gives way to the next, the last at the end of the piece."""
    return (*(change.start_beat for change in piece.chords[1:]), piece.visit_beats[-1][1])


def _strummed(strokes: Sequence[SlotAt], grips: Grips, piece: Piece) -> Iterator[Gesture]:
    """Yield a gesture for each stroke over a chord, held to the next stroke, chord, or playing of a section."""
    beats = {slot.beat for slot in strokes} | {end_beat for _, end_beat in piece.visit_beats}
    ends = sorted(beats.union(_chord_ends(piece)))
    places = [float(beat) for beat in ends]
    for slot in strokes:
        span = piece.chord_at(slot.beat)
        grip = grips.of(span)
        if grip is not None:
            length_beat = ends[begun(places, slot.beat)] - slot.beat
            yield strum_gesture(slot, length_beat, grip, span, piece)


def _problems(grips: Grips, piece: Piece) -> Iterator[Problem]:
    """Yield what is left out, once for each chord, where it first comes in."""
    starts = [float(bar.start_beat) for bar in piece.bars]
    told = set()
    for change in piece.chords:
        span = change.span
        asked = span.chord, span.shape
        if span.chord is not None and asked not in told and grips.of(span) is None:
            told.add(asked)
            yield chord_problem(piece.bars[begun(starts, change.start_beat) - 1], span)
