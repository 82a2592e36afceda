"""The hand that holds a chord: beside a note that rings, and one for each chord where players do nothing but strum."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

import numpy as np

from tercet.arranging.model import Gesture
from tercet.arranging.piece import Piece, begun
from tercet.neck import Shape, common_shape, shape_midis
from tercet.neck.demands import COSTS, LIMITS, STRUM_CHANGE_WEIGHT, Hands
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import OPEN_HAND, STRING_BITS, hands_up_to, usual_order
from tercet.song import ChordSpan
from tercet.theory import Chord, Tuning

__all__ = [
    "ALL_STRINGS",
    "Grip",
    "Grips",
    "apart",
    "beside",
    "chord_hand",
    "pinned_hand",
    "shown_shape",
    "sounds_chord",
    "tells_chord",
]

ALL_STRINGS = (4, 3, 2, 1)

FEWEST_STRINGS = 2
"""One string alone is no strum."""

COST_DIGITS = 9
"""Costs that differ by less are the same: sums in another order."""

HELD_WORTH = 1.0
"""A shape that the arrangement holds is taken, unless another one costs so much less: three fingers."""


def beside(busy: frozenset[int]) -> tuple[tuple[int, ...], ...]:
    """Return the groups of neighbouring strings beside those on which notes ring, the largest first.

    >>> beside(frozenset({2}))
    ((4, 3), (4,), (3,), (1,))
    """
    runs = [tuple(range(first, last - 1, -1)) for first in (4, 3, 2, 1) for last in range(first, 0, -1)]
    return tuple(sorted((run for run in runs if busy.isdisjoint(run)), key=lambda run: (-len(run), -run[0])))


def apart(strings: tuple[int, ...], shape: Shape, tune_midi: int | None, tuning: Tuning) -> Fraction:
    """Return how far the middle of some strings of a shape lies from the tune, in semitones; 0 without a tune."""
    if tune_midi is None:
        return Fraction(0)
    midis = shape_midis(shape, tuning)
    return abs(Fraction(sum(midis[4 - string] for string in strings), len(strings)) - tune_midi)


def sounds_chord(shape: Shape, chord: Chord, hands: Hands, strings: tuple[int, ...]) -> bool:
    """Whether some strings of a shape sound nothing but tones of a chord."""
    midis = shape_midis(shape, hands.tuning)
    return all(midis[4 - string] % 12 in chord.pitch_classes for string in strings)


def tells_chord(shape: Shape, chord: Chord, hands: Hands, strings: tuple[int, ...] = ALL_STRINGS) -> bool:
    """Whether some strings of a shape sound a chord's two most telling tones."""
    midis = shape_midis(shape, hands.tuning)
    return {midis[4 - string] % 12 for string in strings}.issuperset(chord.needed_classes[:2])


@dataclass(frozen=True, slots=True)
class Grip:
    """What the hand holds for a chord, and the strings that are struck, string 4 first."""

    hand: Hand
    strings: tuple[int, ...]


@lru_cache(maxsize=16384)
def chord_hand(
    chord: Chord,
    hands: Hands,
    before: Hand = OPEN_HAND,
    held: tuple[tuple[int, int], ...] = (),
    strings: tuple[int, ...] = ALL_STRINGS,
    tune_midi: int | None = None,
) -> Hand | None:
    """Return the cheapest hand for strumming a chord, or None when these players have none.

    Of hands that cost the same, the one whose struck strings sound further from the tune is taken: what is behind
    keeps out of the register of what is in front.

    Parameters
    ----------
    chord, hands
        What is to sound, and who plays.
    before
        The hand that it comes from.
    held
        (string, fret) pairs that keep their frets, whatever they sound.
    strings
        The strings that are struck: only these must sound the chord.
    tune_midi
        The key of the tune's note, where there is one.
    """
    held_frets = [fret for _, fret in held]
    priced = hands_up_to(hands, before.position, *before.frets, *held_frets)
    over = priced.chord(chord)
    fixed = [string for string, _ in held]
    to_suit = sum(int(STRING_BITS[4 - string]) for string in ALL_STRINGS if string not in fixed)
    to_sound = sum(int(STRING_BITS[4 - string]) for string in strings if string not in fixed)
    suits = over.allowed & (over.unfit & to_suit == 0) & (over.sounding & to_sound == to_sound)
    for string, fret in held:
        suits &= priced.frets_by_string[4 - string] == fret
    rows = np.flatnonzero(suits)
    if not len(rows):
        return None
    change = STRUM_CHANGE_WEIGHT * priced.reach_cost(priced.row_of(before), rows)
    cost = priced.strum_cost[rows] + over.cost(rows)
    cost += COSTS["strums without third or root"] * ~over.tells(rows) + change
    best = rows[cost.round(COST_DIGITS) == cost.round(COST_DIGITS).min()]

    def rank(hand: Hand) -> tuple[object, ...]:
        return -apart(strings, hand.frets, tune_midi, hands.tuning), hand.frets, usual_order(hand)

    return min(map(priced.hand, map(int, best)), key=rank)


def pinned_hand(
    span: ChordSpan,
    hands: Hands,
    busy: frozenset[int] = frozenset(),
    held: tuple[tuple[int, int], ...] = (),
) -> Grip | None:
    """Return the hand for a shape that the song writes, over the largest group of neighbouring strings that it plays.

    Strings that are `busy` aren't struck, and notes that are `held` keep their frets. The fingers that the song sets
    on the shape stay where nothing else is held.
    """
    frets = span.shape or (0, 0, 0, 0)
    kept = dict(held)
    left_out = frozenset(4 - place for place, fret in enumerate(frets) if fret is None)
    for strings in beside(busy | left_out):
        shape = [
            kept.get(string, (frets[4 - string] or 0) if string in strings else 0) for string in ALL_STRINGS
        ]
        fingers = tuple(
            finger if pressed == (fret or 0) else -1
            for finger, fret, pressed in zip(span.fingers or (), frets, shape, strict=False)
        )
        hand = hands_up_to(hands, *shape).usual_hand(tuple(shape), fingers)
        if hand is not None:
            return Grip(hand, strings)
    return None


def shown_shape(
    shape: Shape, struck: tuple[int, ...], asked: tuple[int | None, ...] | None
) -> tuple[int | None, ...]:
    """Return a shape as players see it: None for a string that the song's own chord shape leaves out."""
    if asked is None:
        return shape
    return tuple(
        None if wish is None and fret == 0 and 4 - place not in struck else fret
        for place, (fret, wish) in enumerate(zip(shape, asked, strict=True))
    )


class Grips:
    """The grips of a piece: each chord has one, however often it comes.

    A pinned shape is held as it is written. Any other chord is settled where it first comes in, by what the arrangement
    holds in that section and by nothing later, so that an edit changes nothing in the sections before.

    Parameters
    ----------
    piece, gestures
        The piece, and what its arrangement plays.
    """

    def __init__(self, piece: Piece, gestures: Sequence[Gesture]) -> None:
        self._hands = piece.hands
        self._settled: dict[Chord, Grip | None] = {}
        held = _shapes_held(piece, gestures)
        starts = [float(bar.start_beat) for bar in piece.bars]
        for change in piece.chords:
            chord = change.span.chord
            if chord is None or change.span.shape is not None or chord in self._settled:
                continue
            index = begun(starts, change.start_beat) - 1
            spot = piece.spot(index, change.start_beat - piece.bars[index].start_beat)
            self._settled[chord] = _grip(chord, held[spot.place.section, chord], piece.hands)

    def of(self, span: ChordSpan) -> Grip | None:
        """Return the grip of a chord of the piece; None for N.C., and where no hand can hold it."""
        if span.chord is None:
            return None
        return self._settled[span.chord] if span.shape is None else pinned_hand(span, self._hands)


def _shapes_held(piece: Piece, gestures: Sequence[Gesture]) -> dict[tuple[str, Chord], set[Shape]]:
    """Return for each section and chord the shapes under which all four strings sound the whole chord."""
    held: dict[tuple[str, Chord], set[Shape]] = defaultdict(set)
    for gesture in gestures:
        chord = piece.chord_at(gesture.start_beat).chord
        frets = tuple(fret for fret in gesture.shape if fret is not None)
        if chord is None or len(frets) != len(ALL_STRINGS):
            continue
        four, three, two, one = frets
        if _suits((four, three, two, one), chord, piece.hands):
            held[gesture.section, chord].add((four, three, two, one))
    return held


def _suits(shape: Shape, chord: Chord, hands: Hands) -> bool:
    """Whether these players strum a shape for a chord: within reach, every string of the chord, the chord told."""
    return (
        max(shape) <= hands.limits.highest_chord_fret
        and (hands_up_to(hands, *shape).may_hold(shape) or shape == common_shape(chord, hands.tuning))
        and sounds_chord(shape, chord, hands, ALL_STRINGS)
        and tells_chord(shape, chord, hands)
    )


def _grip(chord: Chord, held: Collection[Shape], hands: Hands) -> Grip | None:
    """Return the grip for a chord: over four strings a shape that is held, or else the easiest that tells the chord."""
    easiest = _easiest(chord, hands)
    full = list(held)
    if (
        easiest is not None
        and easiest.strings == ALL_STRINGS
        and tells_chord(easiest.hand.frets, chord, hands)
    ):
        full.append(easiest.hand.frets)

    def weighed(shape: Shape) -> tuple[float, Shape]:
        cost = hands_up_to(hands, *shape).strummed_cost(chord, shape)
        return round(cost - (HELD_WORTH if shape in held else 0.0), COST_DIGITS), shape

    shape = min(full, key=weighed, default=None)
    hand = hands_up_to(hands, *shape).usual_hand(shape) if shape is not None else None
    return easiest if hand is None else Grip(hand, ALL_STRINGS)


def _easiest(chord: Chord, hands: Hands) -> Grip | None:
    """Return the first grip that tells a chord, or the first of all where none does."""
    first = None
    for grip in _grips(chord, hands):
        if tells_chord(grip.hand.frets, chord, hands, grip.strings):
            return grip
        first = first or grip
    return first


def _grips(chord: Chord, hands: Hands) -> Iterator[Grip]:
    """Yield the easiest hand for each group of strings: the largest first, and within these players' reach first."""
    freer = replace(hands, limits=LIMITS["free"])
    for strings in beside(frozenset()):
        if len(strings) < FEWEST_STRINGS:
            return
        for reach in (hands, freer):
            hand = chord_hand(chord, reach, strings=strings)
            if hand is not None:
                yield Grip(hand, strings)
