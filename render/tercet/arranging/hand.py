"""The left hand: what a shape costs to hold, and what it takes to get from one shape to the next.

The hand's *position* is the fret under the index finger. From position 1 the four fingers cover frets 1 to 4
(one fret more from position 5 on), so C 0003 and F 2010 are both played without moving the hand.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from tercet.arranging.demands import COSTS, Hands
from tercet.neck import Shape, chord_shapes, common_shape, fingers_needed, shape_midis, span_mm
from tercet.theory import Chord, Tuning

__all__ = [
    "OPEN_HAND",
    "allowed",
    "apart",
    "change_cost",
    "chord_shape",
    "hand_position",
    "is_full",
    "shape_cost",
    "shown_shape",
    "sounds_chord",
]

OPEN_HAND: Shape = (0, 0, 0, 0)

EASY_STRETCH_MM = 40.0
"""Frets 1 to 3 of a concert ukulele."""

COST_DIGITS = 9
"""Costs that differ by less are the same: sums in another order."""

_TONE_MISSING = ("most telling tone missing", "second tone missing", "third tone missing")


def hand_position(shape: Shape, before: int) -> int:
    """Return the position for a shape that is nearest to the position before; an open shape moves nothing."""
    pressed = [fret for fret in shape if fret > 0]
    if not pressed:
        return before
    highest = max(pressed)
    least = highest - 4 if highest >= 9 else highest - 3
    return min(max(before, least, 1), *pressed)


@lru_cache(maxsize=65536)
def change_cost(before: Shape, after: Shape, position: int) -> float:
    """Return what it costs to go from one shape to another with the hand at a position."""
    cost = 0.0
    for old, new in zip(before, after, strict=True):
        if new > 0:
            cost += COSTS["kept finger"] if new == old else COSTS["placing a finger"]
    moved = abs(hand_position(after, position) - position)
    cost += COSTS["fret of a position change"] * moved
    if moved > 1:
        cost += COSTS["position change"]
    return cost


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


def is_full(shape: Shape, chord: Chord, hands: Hands) -> bool:
    """Whether a shape sounds a chord's two most telling tones."""
    sounding = {midi % 12 for midi in shape_midis(shape, hands.tuning)}
    return sounding.issuperset(chord.needed_classes[:2])


def allowed(shape: Shape, hands: Hands) -> bool:
    """Whether these players are asked to hold a shape."""
    limits = hands.limits
    fingers = fingers_needed(shape) if limits.barre else sum(fret > 0 for fret in shape)
    return fingers <= limits.most_fingers and span_mm(shape, hands.scale_length_mm) <= limits.widest_mm


def shape_cost(shape: Shape, chord: Chord, hands: Hands) -> float:
    """Return what it costs to hold a shape for a chord: fingers, stretch, height on the neck, missing tones."""
    pressed = [fret for fret in shape if fret > 0]
    cost = _finger_cost(shape, hands)
    if pressed:
        cost += COSTS["fret above third position"] * max(min(pressed) - 3, 0)
        stretch_mm = max(span_mm(shape, hands.scale_length_mm) - EASY_STRETCH_MM, 0.0)
        cost += COSTS["stretch over 20 mm more than is easy"] * stretch_mm / 20.0
    tones = chord.pitch_classes
    sounding = [midi % 12 for midi in shape_midis(shape, hands.tuning)]
    cost += COSTS["idle string off the chord"] * sum(tone not in tones for tone in sounding)
    for tone, name in zip(chord.needed_classes, _TONE_MISSING, strict=False):
        cost += COSTS[name] * (tone not in sounding)
    if common_shape(chord, hands.tuning) == shape:
        cost += COSTS["known shape"]
    return cost


def _finger_cost(shape: Shape, hands: Hands) -> float:
    """Return what the fingers of a shape cost, set one by one or with a barre, whichever is less."""
    pressed = [fret for fret in shape if fret > 0]
    fingers = fingers_needed(shape)
    one_by_one = COSTS["finger"] * len(pressed) + COSTS["little finger"] * (len(pressed) == 4)
    if fingers == len(pressed) or not hands.limits.barre:
        return one_by_one
    wide = pressed.count(min(pressed)) > 2
    barre = COSTS["barre over more" if wide else "barre over two strings"]
    return min(one_by_one, COSTS["finger"] * fingers + barre)


def chord_shape(
    chord: Chord,
    hands: Hands,
    before: Shape,
    held: tuple[tuple[int, int], ...] = (),
    strings: tuple[int, ...] = (4, 3, 2, 1),
    tune_midi: int | None = None,
) -> Shape | None:
    """Return the cheapest shape for strumming a chord, or None when these players have none.

    Of shapes that cost the same, the one whose struck strings sound further from the tune is taken: what is behind
    keeps out of the register of what is in front.

    Parameters
    ----------
    chord, hands
        What is to sound, and who plays.
    before
        The shape that the hand comes from.
    held
        (string, fret) pairs that keep their frets, whatever they sound.
    strings
        The strings that are struck: only these must sound the chord.
    tune_midi
        The key of the tune's note, where there is one.
    """
    idle = tuple(string for string in (4, 3, 2, 1) if string not in strings)
    shapes = chord_shapes(
        chord.pitch_classes, hands.tuning, hands.limits.highest_chord_fret, hands.scale_length_mm, held, idle
    )
    known = common_shape(chord, hands.tuning)
    playable = [shape for shape in shapes if shape == known or allowed(shape, hands)]
    position = hand_position(before, 1)
    return min(
        playable,
        key=lambda shape: (
            round(
                shape_cost(shape, chord, hands)
                + COSTS["strums without third or root"] * (not is_full(shape, chord, hands))
                + 0.5 * change_cost(before, shape, position),
                COST_DIGITS,
            ),
            -apart(strings, shape, tune_midi, hands.tuning),
            shape,
        ),
        default=None,
    )


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
