"""Ways to play one note of the tune: rolls that stop on its string, and single notes.

**The reentrant law.** A roll starts on string 4 or 3 and stops on the string that holds the tune; the tune is
heard on top only if it is at or above the *sounding* pitch of every other struck string. On a high-g ukulele
string 4 is high, so below G4 a roll must start on string 3 for the tune to come out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from render.arrange.demands import COSTS, Hands
from render.arrange.hand import allowed, shape_cost
from render.arrange.model import Audibility
from render.neck import LAST_FRET, Shape, chord_shapes, common_shape, holdable, shape_midis
from render.theory import Chord

__all__ = [
    "Stroke",
    "audibility",
    "chord_strokes",
    "single_strokes",
    "strokes_over",
    "struck_down_to",
    "with_fret",
]


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

    @property
    def rolled(self) -> bool:
        """Whether more than one string is struck."""
        return len(self.struck) > 1


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


def struck_down_to(string: int) -> tuple[tuple[int, ...], ...]:
    """Return the ways for a thumb to fall and stop on a string: over all strings above it, over fewer, alone.

    >>> struck_down_to(2)
    ((4, 3, 2), (3, 2), (2,))
    """
    return tuple(tuple(range(start, string - 1, -1)) for start in range(4, string - 1, -1))


def strokes_over(shape: Shape, string: int, base_cost: float, hands: Hands) -> Iterator[Stroke]:
    """Yield the rolls under a shape that stop on a string, and the single note."""
    midis = shape_midis(shape, hands.tuning)
    tune_midi = midis[4 - string]
    for struck in struck_down_to(string):
        heard = audibility(tune_midi, tuple(midis[4 - other] for other in struck[:-1]))
        cost = base_cost + COSTS.get(heard, 0.0)
        cost += COSTS["fretted string 4"] * (string == 4 and shape[0] > 0)
        if len(struck) > 1:
            cost += COSTS["start on string 3"] * (4 - struck[0])
            cost += COSTS["only one string under the tune"] * (len(struck) == 2)
        yield Stroke(string, shape[4 - string], struck, shape, heard, cost)


@lru_cache(maxsize=8192)
def chord_strokes(tune_midi: int, chord: Chord, hands: Hands) -> tuple[Stroke, ...]:
    """Return the rolls that stop on a note of the tune, and the note alone over the chord's shape, cheapest first.

    Only struck strings must sound the chord. A chord's known shape is allowed even where it needs a fourth finger
    or a barre: the chord asks for it.
    """
    known = common_shape(chord, hands.tuning)
    tones, limits = chord.pitch_classes, hands.limits
    strokes: list[Stroke] = []
    for string in (4, 3, 2, 1):
        fret = tune_midi - hands.tuning.open_midi(string)
        if not 0 <= fret <= limits.highest_fret:
            continue
        others = tuple(other for other in (4, 3, 2, 1) if other != string)
        shapes = chord_shapes(
            tones, hands.tuning, limits.highest_chord_fret, hands.scale_length_mm, ((string, fret),), others
        )
        for shape in shapes:
            if shape != known and not allowed(shape, hands):
                continue
            midis = shape_midis(shape, hands.tuning)
            off = {other for other in others if midis[4 - other] % 12 not in tones}
            strokes += [
                stroke
                for stroke in strokes_over(shape, string, shape_cost(shape, chord, hands), hands)
                if off.isdisjoint(stroke.struck if stroke.rolled else others)
            ]
    return tuple(sorted(strokes, key=lambda stroke: (stroke.cost, stroke.struck, stroke.shape)))


def single_strokes(tune_midi: int, held: Shape, hands: Hands, keep: tuple[int, ...] = ()) -> Iterator[Stroke]:
    """Yield every single note on which a note can be played, a finger put over the held shape.

    Where the hand can't hold both, it lets go of the shape, but for the strings in `keep`; a note that can't be
    held together with those is left out. Frets beyond the players' reach are offered, at a price.
    """
    for string in (4, 3, 2, 1):
        fret = tune_midi - hands.tuning.open_midi(string)
        if string in keep or not 0 <= fret <= LAST_FRET:
            continue
        over = with_fret(held, string, fret)
        if not (holdable(over, hands.scale_length_mm) and (over == held or allowed(over, hands))):
            let_go = tuple(old if 4 - place in keep else 0 for place, old in enumerate(held))
            over = with_fret((let_go[0], let_go[1], let_go[2], let_go[3]), string, fret)
            if not holdable(over, hands.scale_length_mm):
                continue
        beyond = max(fret - hands.limits.highest_fret, 0)
        cost = COSTS["fret out of these players' reach"] * beyond
        cost += COSTS["fretted string 4"] * (string == 4 and fret > 0 and over != held)
        yield Stroke(string, fret, (string,), over, "top", cost)


def with_fret(shape: Shape, string: int, fret: int) -> Shape:
    """Return a shape with another fret on one string."""
    frets = list(shape)
    frets[4 - string] = fret
    return (frets[0], frets[1], frets[2], frets[3])
