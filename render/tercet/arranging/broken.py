"""Chords as patterns of single strings behind the tune, where the style is `broken`.

Each bar has its meter's pattern of strings. A string on which the tune rings, or that would sound as high as the
tune, gives its place to the nearest one that is free and of the chord; where there is none, nothing is struck. Nor is
anything where the tune, or the song's own between note, begins, nor where the hand has no time. So the tune stays on
top and rings, and what is behind it fills in. A bar with a row of its own (`between` or `strum`) stays as written, and
a fermata is left to ring.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from tercet.arranging.between import Added, added_note
from tercet.arranging.choices import Stroke
from tercet.arranging.chord_hands import ALL_STRINGS, chord_hand, pinned_hand, sounds_chord
from tercet.arranging.fingering import Fingered
from tercet.arranging.piece import Piece, begun
from tercet.arranging.tune import SHORTEST_SPACE_PULSES
from tercet.neck import Shape
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import OPEN_HAND
from tercet.song import Bar, ChordSpan, Players
from tercet.song.styles import STYLES

__all__ = [
    "FEWEST_STRINGS",
    "LEAST_BELOW_SEMITONES",
    "PATTERNS",
    "Pace",
    "broken_chords",
    "pattern_of",
]

Pace = Literal["easy", "lively"]
"""Easy for beginners, and where the tempo leaves no time between pulses; lively for others."""

PATTERNS: dict[tuple[int, int, Pace], str] = {
    # pulses, parts of a pulse, pace: a string for each part, 4 nearest the chin; . for nothing
    (1, 2, "easy"): "4 .",
    (2, 2, "easy"): "4 . 3 .",
    (3, 2, "easy"): "4 . 3 . 2 .",
    (4, 2, "easy"): "4 . 3 . 2 . 3 .",
    (1, 2, "lively"): "4 3",
    (2, 2, "lively"): "4 3 2 3",
    (3, 2, "lively"): "4 3 2 3 2 3",
    (4, 2, "lively"): "4 3 2 3 4 2 3 2",
    (1, 3, "easy"): "4 3 .",
    (2, 3, "easy"): "4 3 . 4 2 .",
    (3, 3, "easy"): "4 3 . 4 2 . 4 3 .",
    (4, 3, "easy"): "4 3 . 4 2 . 4 3 . 4 2 .",
    (1, 3, "lively"): "4 3 2",
    (2, 3, "lively"): "4 3 2 4 2 3",
    (3, 3, "lively"): "4 3 2 4 2 3 4 3 2",
    (4, 3, "lively"): "4 3 2 4 2 3 4 3 2 4 2 3",
}
"""The patterns, by meter and pace. A bar of more pulses has that of four again and again."""

SHORTEST_STEP_S: dict[Players, float] = {"beginner": 0.3, "improving": 0.18, "free": 0.14}
"""From one stroke to the next the thumb has at least this long."""

LEAST_BELOW_SEMITONES = 3
"""A string behind the tune sounds at least this far below it: nearer ones would blur it."""

FEWEST_STRINGS = 2
"""In a long space the hand forms the chord anew where fewer strings of it than this are free."""


def pattern_of(pulses: int, parts: int, pace: Pace) -> tuple[str, ...]:
    """Return the pattern of a bar, a sign for each part of its pulses.

    >>> pattern_of(3, 2, "easy")
    ('4', '.', '3', '.', '2', '.')
    """
    signs = PATTERNS[min(pulses, 4), parts, pace].split()
    return tuple(signs[place % len(signs)] for place in range(pulses * parts))


@dataclass(frozen=True, slots=True)
class _Slot:
    """A sign of the pattern at its place."""

    bar_index: int
    beat: Fraction
    string: int


@dataclass(frozen=True, slots=True)
class _Moment:
    """What the tune does when a string is to be struck behind it.

    Parameters
    ----------
    tune
        The last note of the tune that began no later, within the same playing of the section.
    since_beat, following_beat
        When that note or else this playing began, and when the tune strikes again or this playing ends.
    """

    tune: Fingered | None
    since_beat: Fraction
    following_beat: Fraction

    def ringing(self, beat: Fraction) -> Fingered | None:
        """Return the note of the tune that rings at a beat."""
        return self.tune if self.tune is not None and self.tune.end_beat > beat else None


def broken_chords(fingered: Sequence[Fingered], added: Sequence[Added], piece: Piece) -> tuple[Added, ...]:
    """Return the strings that are struck behind the tune where the style is `broken`, in order.

    Parameters
    ----------
    fingered
        The tune.
    added
        The notes that the song itself adds.
    piece
        What is arranged.
    """
    onsets = [item.note.start_beat for item in fingered]
    starts = [float(beat) for beat in onsets]
    taken = sorted([*onsets, *(item.note.start_beat for item in added)])
    taken_starts = [float(beat) for beat in taken]
    struck: list[Added] = []
    hand, since_beat = OPEN_HAND, Fraction(-1)
    for slot in _slots(piece):
        now = begun(taken_starts, slot.beat)
        before = [*taken[max(now - 1, 0) : now], *(item.note.start_beat for item in struck[-1:])]
        after = [beat for beat in taken[now : now + 1] if beat < piece.visit_beats[slot.bar_index][1]]
        if not _has_time(slot.beat, before, after, piece):
            continue
        moment = _moment(slot, fingered, starts, piece)
        if since_beat < moment.since_beat:
            hand = OPEN_HAND if moment.tune is None else moment.tune.hand or OPEN_HAND
        since_beat = slot.beat
        span = piece.chord_at(slot.beat)
        if span.chord is None:
            continue
        hand, strings = _hand_for(hand, span, slot.beat, moment, piece)
        last = struck[-1].stroke.string if struck else 0
        if strings:
            string = min(
                strings, key=lambda name: (name == last and len(strings) > 1, abs(name - slot.string), -name)
            )
            struck.append(_struck(string, slot, hand.frets, moment, piece))
    return tuple(_ringing(struck, fingered, starts, piece))


def _slots(piece: Piece) -> Iterator[_Slot]:
    """Yield the strings of the patterns of all bars that have the style and no row of their own."""
    song, meter = piece.song, piece.song.meter
    if not any(STYLES[song.style_of(each.section, each.pass_number)].broken for each in piece.measures):
        return
    parts = int(piece.pulse_beat / piece.part_beat)
    players = song.players
    slow = float(piece.part_beat) * piece.beat_s >= SHORTEST_STEP_S[players]
    pace: Pace = "lively" if slow and players != "beginner" else "easy"
    pattern = pattern_of(meter.pulses, parts, pace)
    for index, bar in enumerate(piece.bars):
        if bar.between is not None or bar.strum is not None:
            continue
        short_beat = meter.bar_beat - bar.length_beat
        for place, sign in enumerate(pattern):
            beat = place * piece.part_beat - short_beat
            if sign == "." or not 0 <= beat < bar.length_beat or _waits(bar, beat):
                continue
            if STYLES[piece.spot(index, beat).style].broken:
                yield _Slot(index, bar.start_beat + beat, int(sign))


def _waits(bar: Bar, beat: Fraction) -> bool:
    """Whether a fermata of the bar stands no later: what is held then is left to ring."""
    return any(mark.kind == "fermata" and mark.at_beat <= beat for mark in bar.marks)


def _has_time(beat: Fraction, before: Sequence[Fraction], after: Sequence[Fraction], piece: Piece) -> bool:
    """Whether the thumb is back from what it struck before, and will be for what comes."""
    shortest_s = SHORTEST_STEP_S[piece.song.players] - _TOLERANCE_S
    gaps = [*(beat - other for other in before), *(other - beat for other in after)]
    return all(float(gap) * piece.beat_s >= shortest_s for gap in gaps)


_TOLERANCE_S = 1e-6


def _moment(slot: _Slot, fingered: Sequence[Fingered], starts: Sequence[float], piece: Piece) -> _Moment:
    visit_beat, visit_end_beat = piece.visit_beats[slot.bar_index]
    now = begun(starts, slot.beat)
    tune = fingered[now - 1] if now else None
    if tune is not None and tune.end_beat <= visit_beat:
        tune = None
    following_beat = (
        min(fingered[now].note.start_beat, visit_end_beat) if now < len(starts) else visit_end_beat
    )
    return _Moment(tune, visit_beat if tune is None else tune.note.start_beat, following_beat)


def _hand_for(
    hand: Hand, span: ChordSpan, beat: Fraction, moment: _Moment, piece: Piece
) -> tuple[Hand, tuple[int, ...]]:
    """Return the hand that holds a chord behind the tune, and the strings that may be struck.

    It stays as the tune or the string before left it; only in a long space it forms the chord anew, where too few
    strings are free.
    """
    strings = _free(hand.frets, span, beat, moment, piece)
    long_enough = moment.following_beat - moment.since_beat >= SHORTEST_SPACE_PULSES * piece.pulse_beat
    if len(strings) >= FEWEST_STRINGS or not long_enough:
        return hand, strings
    rings = moment.ringing(beat)
    held = () if rings is None or not rings.reached else ((rings.stroke.string, rings.stroke.fret),)
    formed = _formed(hand, span, held, rings, piece)
    if formed is None:
        return hand, strings
    found = _free(formed.frets, span, beat, moment, piece)
    return (formed, found) if len(found) > len(strings) else (hand, strings)


def _formed(
    hand: Hand, span: ChordSpan, held: tuple[tuple[int, int], ...], rings: Fingered | None, piece: Piece
) -> Hand | None:
    """Return the hand that forms a chord beside what is held, or None; as the song has it where it writes a shape."""
    busy = frozenset(string for string, _ in held)
    if span.shape is not None:
        grip = pinned_hand(span, piece.hands, busy, held)
        return None if grip is None else grip.hand
    if span.chord is None:
        return None
    others = tuple(name for name in ALL_STRINGS if name not in busy)
    return chord_hand(span.chord, piece.hands, hand, held, others, None if rings is None else rings.note.midi)


def _free(shape: Shape, span: ChordSpan, beat: Fraction, moment: _Moment, piece: Piece) -> tuple[int, ...]:
    """Return the strings of a shape that sound the chord, off the tune's string and below its note."""
    rings = moment.ringing(beat)

    def is_free(name: int) -> bool:
        midi = piece.tuning.midi(name, shape[4 - name])
        below = rings is None or midi + LEAST_BELOW_SEMITONES <= rings.note.midi
        return below and (rings is None or name != rings.stroke.string)

    return tuple(name for name in ALL_STRINGS if _belongs(name, shape, span, piece) and is_free(name))


def _belongs(name: int, shape: Shape, span: ChordSpan, piece: Piece) -> bool:
    """Whether a string of a shape is one of the chord's, or of the shape that the song writes for it."""
    if span.shape is not None:
        return span.shape[4 - name] == shape[4 - name]
    return span.chord is not None and sounds_chord(shape, span.chord, piece.hands, (name,))


def _struck(string: int, slot: _Slot, shape: Shape, moment: _Moment, piece: Piece) -> Added:
    fret = shape[4 - string]
    midi = piece.tuning.midi(string, fret)
    note = added_note(midi, slot.bar_index, slot.beat, moment.following_beat, piece)
    return Added(note, Stroke(string, fret, (string,), shape, "top", 0.0), part="chord")


def _ringing(
    struck: Sequence[Added], fingered: Sequence[Fingered], starts: Sequence[float], piece: Piece
) -> Iterator[Added]:
    """Yield strings with how long they ring: until a hand needs them, the chord changes or the tune comes near."""
    for place, item in enumerate(struck):
        end_beat = _end_beat(place, struck, fingered, starts, piece)
        lasting = replace(item.note, length_beat=end_beat - item.note.start_beat, end_beat=end_beat)
        yield replace(item, note=lasting)


def _end_beat(
    place: int,
    struck: Sequence[Added],
    fingered: Sequence[Fingered],
    starts: Sequence[float],
    piece: Piece,
) -> Fraction:
    """Return where one of the strings stops that are struck behind the tune."""
    item = struck[place]
    start_beat, stroke, midi = item.note.start_beat, item.stroke, item.note.midi
    _, end_beat = piece.visit_beats[item.note.spot.bar_index]
    change = begun(piece.chord_starts, start_beat)
    if change < len(piece.chords):
        end_beat = min(end_beat, piece.chords[change].start_beat)
    for other in (struck[index] for index in range(place + 1, len(struck))):
        if other.note.start_beat >= end_beat:
            break
        if other.stroke.shape[4 - stroke.string] != stroke.fret or other.stroke.string == stroke.string:
            end_beat = other.note.start_beat
    for tune in (fingered[index] for index in range(begun(starts, start_beat), len(fingered))):
        if tune.note.start_beat >= end_beat:
            break
        leaves = tune.stroke.string == stroke.string or tune.stroke.shape[4 - stroke.string] != stroke.fret
        if leaves or tune.note.midi < midi + LEAST_BELOW_SEMITONES:
            end_beat = tune.note.start_beat
    return end_beat
