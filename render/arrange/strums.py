"""Quiet strums in the long spaces of the tune, and the rows that the song writes out itself."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from render.arrange.fingering import Fingered
from render.arrange.hand import OPEN_HAND, strum_shape
from render.arrange.model import Gesture, StringNote
from render.arrange.strokes import LIMITS
from render.arrange.tune import ChordAt, chord_at
from render.neck import Shape, Tuning, shape_midis
from render.song import Bar, ChordSpan, Meter, Slot, Song

__all__ = ["SlotAt", "beside", "default_pattern", "slots_of_bars", "strum_gestures"]

SHORTEST_SPACE_PULSES = 2
"""A space of the tune is filled with strums when it lasts at least this long."""


@dataclass(frozen=True, slots=True)
class SlotAt:
    """One stroke of the strum pattern in the piece as played; `written` when the bar has a strum row of its own."""

    beat: Fraction
    slot: Slot
    bar_index: int
    written: bool


def default_pattern(meter: Meter) -> tuple[Slot, ...]:
    """Return the pattern of a song that gives none: a down stroke on each pulse.

    >>> default_pattern(Meter(6, 8))
    ('d', '.', '.', 'd', '.', '.')
    """
    pulse = int(meter.pulse_beat)
    return tuple("d" if place % pulse == 0 else "." for place in range(meter.upper))


def slots_of_bars(bars: Sequence[Bar], song: Song) -> Iterator[SlotAt]:
    """Yield the strokes of the song's pattern, or of a bar's own row, in order."""
    pattern = song.strum or default_pattern(song.meter)
    for index, bar in enumerate(bars):
        slots = bar.strum if bar.strum is not None else pattern
        step = song.meter.bar_beat / len(slots)
        offset = song.meter.bar_beat - bar.length_beat if bar.section_bar == 0 else Fraction(0)
        for place, slot in enumerate(slots):
            beat = place * step - offset
            if slot != "." and 0 <= beat < bar.length_beat:
                yield SlotAt(bar.start_beat + beat, slot, index, bar.strum is not None)


def beside(string: int | None, left_out: frozenset[int] = frozenset()) -> tuple[int, ...]:
    """Return the larger group of neighbouring strings beside the one on which the tune rings, string 4 first.

    >>> beside(1), beside(2), beside(3), beside(None)
    ((4, 3, 2), (4, 3), (2, 1), (4, 3, 2, 1))
    """
    groups: list[list[int]] = [[]]
    for name in (4, 3, 2, 1):
        if name == string or name in left_out:
            groups.append([])
        else:
            groups[-1].append(name)
    largest = max(groups, key=len)
    return tuple(largest)


def strum_gestures(
    bars: Sequence[Bar],
    fingered: Sequence[Fingered],
    added: Sequence[Gesture],
    changes: Sequence[ChordAt],
    song: Song,
    tuning: Tuning,
) -> Iterator[Gesture]:
    """Yield the strums: the pattern in the tune's long spaces, and every stroke of a written strum row.

    No strum falls on the onset of a note of the tune, nor strikes the string on which one rings; where a written
    stroke meets a note of the tune, the tune's own stroke stands for it. The pattern leaves out places where an
    added note is played, and the last half pulse before the next note, when the thumb makes ready.
    """
    slots = list(slots_of_bars(bars, song))
    starts = [item.note.start_beat for item in fingered]
    added_at = {gesture.start_beat for gesture in added}
    end_beat = bars[-1].start_beat + bars[-1].length_beat if bars else Fraction(0)
    shape, shaped_at = OPEN_HAND, Fraction(-1)
    for order, slot in enumerate(slots):
        now = bisect_right(starts, slot.beat) - 1
        held = fingered[now] if now >= 0 else None
        following = starts[now + 1] if now + 1 < len(starts) else end_beat
        if held is not None and held.note.start_beat == slot.beat:
            continue
        if not slot.written and (slot.beat in added_at or not _in_space(slot, held, following, song.meter)):
            continue
        span = chord_at(changes, slot.beat)
        if span is None or span.chord is None:
            continue
        if held is not None and held.note.start_beat > shaped_at:
            shape = held.stroke.shape
        ringing = held if held is not None and slot.beat < held.note.end_beat else None
        shape, strings = _shape_and_strings(shape, span, ringing, song, tuning)
        shaped_at = slot.beat
        next_slot = slots[order + 1].beat if order + 1 < len(slots) else end_beat
        if strings:
            length_beat = min(following, next_slot) - slot.beat
            phrase = held.note.phrase if held else 0
            yield _gesture(slot, bars[slot.bar_index], length_beat, shape, strings, phrase, tuning)


def _in_space(slot: SlotAt, held: Fingered | None, following: Fraction, meter: Meter) -> bool:
    """Whether a stroke of the pattern falls inside a space long enough, with time before and after."""
    pulse = meter.pulse_beat
    if following - slot.beat < pulse / 2:
        return False
    if held is None:
        return True
    space = following - held.note.start_beat
    settled = slot.beat >= min(held.note.start_beat + pulse / 2, held.note.end_beat)
    return space >= SHORTEST_SPACE_PULSES * pulse and settled


def _shape_and_strings(
    before: Shape, span: ChordSpan, ringing: Fingered | None, song: Song, tuning: Tuning
) -> tuple[Shape, tuple[int, ...]]:
    """Return what the hand holds for a strum, and the strings that are struck (string 4 first)."""
    pins: tuple[tuple[int, int], ...] = ()
    if ringing is not None and ringing.reached:
        pins = ((ringing.stroke.string, ringing.stroke.fret),)
    string = ringing.stroke.string if ringing is not None else None
    if span.shape is not None:
        left_out = frozenset(4 - place for place, fret in enumerate(span.shape) if fret is None)
        frets = [fret or 0 for fret in span.shape]
        for name, fret in pins:
            frets[4 - name] = fret
        return (frets[0], frets[1], frets[2], frets[3]), beside(string, left_out)
    if not _serves(before, span, tuning, pins) and span.chord is not None:
        before = strum_shape(span.chord, tuning, LIMITS[song.players], song.scale_length_mm, before, pins)
    return before, beside(string)


def _serves(shape: Shape, span: ChordSpan, tuning: Tuning, pins: tuple[tuple[int, int], ...]) -> bool:
    """Whether a shape sounds nothing but the chord on the strings that the tune doesn't hold."""
    if span.chord is None or any(shape[4 - name] != fret for name, fret in pins):
        return False
    of_the_tune = {4 - name for name, _ in pins}
    midis = shape_midis(shape, tuning)
    return all(
        midis[place] % 12 in span.chord.pitch_classes for place in range(4) if place not in of_the_tune
    )


def _gesture(
    slot: SlotAt,
    bar: Bar,
    length_beat: Fraction,
    shape: Shape,
    strings: tuple[int, ...],
    phrase: int,
    tuning: Tuning,
) -> Gesture:
    up = slot.slot in ("u", "U")
    midis = shape_midis(shape, tuning)
    struck = tuple(reversed(strings)) if up else strings
    return Gesture(
        layer="strums",
        action="chop" if slot.slot == "x" else "strum",
        start_beat=slot.beat,
        length_beat=length_beat,
        notes=tuple(StringNote(name, shape[4 - name], midis[4 - name], "chord") for name in struck),
        bar_number=bar.number,
        section=bar.section,
        section_bar=bar.section_bar,
        pass_number=bar.pass_number,
        bar_beat=slot.beat - bar.start_beat,
        phrase=phrase,
        accent=slot.slot in ("D", "U"),
        up=up,
        shape=shape,
    )
