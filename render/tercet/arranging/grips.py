"""One shape for each chord: what players hold when they do nothing but strum."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from tercet.arranging.demands import LIMITS, Hands
from tercet.arranging.hand import OPEN_HAND, allowed, chord_shape, shape_cost, sounds_chord
from tercet.arranging.model import Gesture
from tercet.arranging.piece import Piece, begun
from tercet.arranging.strums import beside
from tercet.neck import Shape, common_shape, holdable, shape_midis
from tercet.song import ChordSpan
from tercet.theory import Chord

__all__ = ["Grip", "Grips"]

ALL_STRINGS = (4, 3, 2, 1)

FEWEST_STRINGS = 2
"""One string alone is no strum."""

COST_DIGITS = 9
"""Costs that differ by less are the same: sums in another order."""

HELD_WORTH = 1.0
"""A shape that the arrangement holds is taken, unless another one costs so much less: three fingers."""


@dataclass(frozen=True, slots=True)
class Grip:
    """What the hand holds for a chord, and the strings that are struck; both string 4 first."""

    shape: Shape
    strings: tuple[int, ...]


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
        return self._settled[span.chord] if span.shape is None else _pinned(span.shape, self._hands)


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
        and (allowed(shape, hands) or shape == common_shape(chord, hands.tuning))
        and sounds_chord(shape, chord, hands, ALL_STRINGS)
        and _tells(Grip(shape, ALL_STRINGS), chord, hands)
    )


def _tells(grip: Grip, chord: Chord, hands: Hands) -> bool:
    """Whether the struck strings sound a chord's two most telling tones."""
    midis = shape_midis(grip.shape, hands.tuning)
    return {midis[4 - string] % 12 for string in grip.strings}.issuperset(chord.needed_classes[:2])


def _grip(chord: Chord, held: Collection[Shape], hands: Hands) -> Grip | None:
    """Return the grip for a chord: over four strings a shape that is held, or else the easiest that tells the chord."""
    easiest = _easiest(chord, hands)
    full = [Grip(shape, ALL_STRINGS) for shape in held]
    if easiest is not None and easiest.strings == ALL_STRINGS and _tells(easiest, chord, hands):
        full.append(easiest)
    if not full:
        return easiest

    def weighed(grip: Grip) -> tuple[float, Shape]:
        worth = HELD_WORTH if grip.shape in held else 0.0
        return round(shape_cost(grip.shape, chord, hands) - worth, COST_DIGITS), grip.shape

    return min(full, key=weighed)


def _easiest(chord: Chord, hands: Hands) -> Grip | None:
    """Return the first grip that tells a chord, or the first of all where none does."""
    first = None
    for grip in _grips(chord, hands):
        if _tells(grip, chord, hands):
            return grip
        first = first or grip
    return first


def _grips(chord: Chord, hands: Hands) -> Iterator[Grip]:
    """Yield the easiest shape for each group of strings: the largest first, and within these players' reach first."""
    freer = replace(hands, limits=LIMITS["free"])
    for strings in beside(frozenset()):
        if len(strings) < FEWEST_STRINGS:
            return
        for reach in (hands, freer):
            shape = chord_shape(chord, reach, OPEN_HAND, (), strings)
            if shape is not None:
                yield Grip(shape, strings)


def _pinned(frets: Sequence[int | None], hands: Hands) -> Grip | None:
    """Return a shape that the song writes, over the largest group of neighbouring strings that it plays."""
    left_out = frozenset(4 - place for place, fret in enumerate(frets) if fret is None)
    for strings in beside(left_out):
        four, three, two, one = (
            (frets[4 - string] or 0) if string in strings else 0 for string in ALL_STRINGS
        )
        if holdable((four, three, two, one), hands.scale_length_mm):
            return Grip((four, three, two, one), strings)
    return None
