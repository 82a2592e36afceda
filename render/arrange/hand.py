"""From one shape to the next: what the left hand has to do in between."""

from __future__ import annotations

from render.arrange.strokes import COSTS, Limits, allowed, shape_cost
from render.neck import Shape, Tuning, chord_shapes, common_shape
from render.theory import Chord

__all__ = ["OPEN_HAND", "change_cost", "hand_position", "strum_shape"]

OPEN_HAND: Shape = (0, 0, 0, 0)


def hand_position(shape: Shape, before: int) -> int:
    """Return the fret under the index finger; an open shape leaves the hand where it was (`before`)."""
    pressed = [fret for fret in shape if fret > 0]
    return min(pressed) if pressed else before


def change_cost(before: Shape, after: Shape, position: int) -> float:
    """Return what it costs to go from one shape to another with the hand at a position."""
    placed = sum(new > 0 and new != old for old, new in zip(before, after, strict=True))
    kept = sum(new > 0 and new == old for old, new in zip(before, after, strict=True))
    moved = abs(hand_position(after, position) - position)
    cost = COSTS["placing a finger"] * placed + COSTS["kept finger"] * kept
    if moved > 1:
        cost += COSTS["position change"] + COSTS["fret of a position change"] * moved
    return cost


def strum_shape(
    chord: Chord,
    tuning: Tuning,
    limits: Limits,
    scale_length_mm: float,
    before: Shape,
    held: tuple[tuple[int, int], ...] = (),
) -> Shape:
    """Return the cheapest shape for strumming a chord after another shape; `held` strings keep their frets.

    Without any shape in reach the hand keeps the one before, with the held strings as they are.
    """
    options = chord_shapes(chord.pitch_classes, tuning, limits.highest_fret, scale_length_mm, held)
    playable = [shape for shape in options if allowed(shape, limits) or shape == common_shape(chord, tuning)]
    if not playable:
        frets = list(before)
        for string, fret in held:
            frets[4 - string] = fret
        four, three, two, one = frets
        return (four, three, two, one)
    position = hand_position(before, 1)
    return min(
        playable,
        key=lambda shape: (
            shape_cost(shape, chord, tuning) + 0.5 * change_cost(before, shape, position),
            shape,
        ),
    )
