"""Ways to play one note of the tune: rolls that stop on its string, and single notes.

**The reentrant law.** A roll starts on string 4 or 3 and stops on the string that holds the tune; the tune is
heard on top only if it is at or above the *sounding* pitch of every other struck string. On a high-g ukulele
string 4 is high, so below G4 a roll must start on string 3 for the tune to come out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from render.neck import LAST_FRET, Shape, Tuning, chord_shapes, common_shape, fingers_needed, shape_midis
from render.song import Players
from render.theory import Chord

__all__ = [
    "COSTS",
    "LIMITS",
    "Audibility",
    "Limits",
    "Stroke",
    "audibility",
    "rolls",
    "shape_cost",
    "singles",
]

Audibility = Literal["top", "unison", "octave", "masked"]
"""How the tune stands against the other strings of its roll: above all, level with one, an octave or more below
one that doubles it, or below another note."""

COSTS: dict[str, float] = {
    "finger": 0.30,
    "above third position": 0.12,
    "shape without third": 0.5,
    "shape without root": 0.25,
    "known shape": -0.8,
    "wanted roll missing": 5.0,
    "only one string under the tune": 0.6,
    "masked": 4.5,
    "octave": 0.8,
    "unison": 0.3,
    "start on string 3": 0.4,
    "position change": 0.6,
    "fret of a position change": 0.45,
    "placing a finger": 0.25,
    "kept finger": -0.12,
    "same string again": 0.1,
    "off the held shape": 0.5,
}
"""What a choice costs; the figures come from trials on folk tunes."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the players' hands are asked to do: the highest fret and the most fingers at once."""

    highest_fret: int
    most_fingers: int
    barre: bool


LIMITS: dict[Players, Limits] = {
    "beginner": Limits(5, 3, barre=False),
    "improving": Limits(7, 4, barre=True),
    "free": Limits(12, 4, barre=True),
}


@dataclass(frozen=True, slots=True)
class Stroke:
    """One way to play one note of the tune.

    Parameters
    ----------
    string, fret
        Where the tune's note is held.
    struck
        Strings in the order struck, the tune's string last; one string for a single note.
    shape
        What the hand holds, string 4 first.
    heard
        How the tune stands against the other struck strings.
    cost
        Cost of the stroke by itself.
    """

    string: int
    fret: int
    struck: tuple[int, ...]
    shape: Shape
    heard: Audibility
    cost: float


def audibility(tune_midi: int, other_midis: tuple[int, ...]) -> Audibility:
    """Return how a tune's note stands against the other strings of its roll.

    >>> audibility(69, (60, 64))
    'top'
    >>> audibility(64, (67, 60))
    'masked'
    """
    if all(other < tune_midi for other in other_midis):
        return "top"
    if all(other <= tune_midi for other in other_midis):
        return "unison"
    if all(other <= tune_midi or (other - tune_midi) % 12 == 0 for other in other_midis):
        return "octave"
    return "masked"


def shape_cost(shape: Shape, chord: Chord | None, tuning: Tuning) -> float:
    """Return what it costs to hold a shape for a chord: fingers, height on the neck, tones that are missing."""
    pressed = [fret for fret in shape if fret > 0]
    cost = COSTS["finger"] * fingers_needed(shape)
    if pressed:
        cost += COSTS["above third position"] * max(min(pressed) - 3, 0)
    if chord is None:
        return cost
    classes = {midi % 12 for midi in shape_midis(shape, tuning)}
    if chord.third_class is not None and chord.third_class not in classes:
        cost += COSTS["shape without third"]
    if chord.root_class not in classes:
        cost += COSTS["shape without root"]
    if common_shape(chord, tuning) == shape:
        cost += COSTS["known shape"]
    return cost


def allowed(shape: Shape, limits: Limits) -> bool:
    """Whether these players can hold a shape."""
    pressed = [fret for fret in shape if fret > 0]
    if limits.barre:
        return fingers_needed(shape) <= limits.most_fingers
    return len(pressed) <= limits.most_fingers


def rolls(
    tune_midi: int, chord: Chord, tuning: Tuning, limits: Limits, scale_length_mm: float
) -> Iterator[Stroke]:
    """Yield every roll that stops on a note of the tune, over chord tones.

    A beginner's known shapes are allowed even where they need a fourth finger or a barre: the chord asks for it.
    """
    for string in (3, 2, 1):
        fret = tune_midi - tuning.open_midi(string)
        if not 0 <= fret <= min(limits.highest_fret, LAST_FRET):
            continue
        shapes = chord_shapes(
            chord.pitch_classes, tuning, limits.highest_fret, scale_length_mm, ((string, fret),)
        )
        for shape in shapes:
            if not allowed(shape, limits) and common_shape(chord, tuning) != shape:
                continue
            base_cost = shape_cost(shape, chord, tuning)
            midis = shape_midis(shape, tuning)
            for start in range(4, string, -1):
                struck = tuple(range(start, string - 1, -1))
                others = tuple(midis[4 - other] for other in struck[:-1])
                heard = audibility(tune_midi, others)
                cost = base_cost + COSTS.get(heard, 0.0)
                cost += COSTS["start on string 3"] * (4 - start)
                cost += COSTS["only one string under the tune"] * (len(struck) == 2)
                yield Stroke(string, fret, struck, shape, heard, cost)


def singles(tune_midi: int, held: Shape, tuning: Tuning, highest_fret: int) -> Iterator[Stroke]:
    """Yield every single note on which a note of the tune can be played, a finger put over the held shape."""
    for string in (4, 3, 2, 1):
        fret = tune_midi - tuning.open_midi(string)
        if not 0 <= fret <= highest_fret:
            continue
        frets = list(held)
        kept = frets[4 - string] == fret
        frets[4 - string] = fret
        pressed = [other for other in held if other > 0]
        reach = max(abs(fret - min(pressed)) - 2, 0) if fret and pressed else max(fret - 4, 0)
        cost = 0.0 if kept else COSTS["off the held shape"] + COSTS["placing a finger"] * (fret > 0)
        cost += COSTS["fret of a position change"] * reach
        four, three, two, one = frets
        yield Stroke(string, fret, (string,), (four, three, two, one), "top", cost)
