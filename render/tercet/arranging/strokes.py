"""Ways to play one note: a single note, with a finger put over the shape that the hand holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tercet.arranging.model import Audibility
from tercet.neck import Shape, holdable
from tercet.neck.demands import COSTS, Hands
from tercet.neck.priced_hands import hands_up_to
from tercet.theory import LAST_FRET

__all__ = ["Stroke", "single_strokes", "with_fret"]


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
        if not (
            holdable(over, hands.scale_length_mm)
            and (over == held or hands_up_to(hands, *over).may_hold(over))
        ):
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
