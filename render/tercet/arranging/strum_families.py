"""Families of strum patterns, for songs that give none: by meter, tempo and players, in the trade's signs.

A family is a handful of bars that belong together. Which of them is played where is said in
`tercet.arranging.strums`: those of a family follow each other so that no bar sounds like the one before.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tercet.song import Meter, Players, Slot, Song

__all__ = ["FAMILIES", "Family", "Pace", "family_of", "finest_pattern", "usual_pattern"]

Pace = Literal["easy", "lively", "quick"]
"""Easy for beginners; lively for others; quick where the tempo leaves no time between pulses: there the hand falls on
one pulse and comes up on another."""

SHORTEST_PART_S: dict[Players, float] = {"beginner": 0.25, "improving": 0.18, "free": 0.14}
"""Between pulses is strummed only where a part of a pulse lasts so long."""


@dataclass(frozen=True, slots=True)
class Family:
    """Bars that belong together, each with a slot for every part of its pulses.

    Parameters
    ----------
    plain
        In the order in which they are tried.
    phrase_end
        Tried first in the last bar of a phrase.
    turn
        Tried first in the last bar of a section: what leads into the next.
    """

    plain: tuple[str, ...]
    phrase_end: tuple[str, ...]
    turn: tuple[str, ...]

    def bars(self, *, ends_phrase: bool, turns: bool) -> tuple[tuple[Slot, ...], ...]:
        """Return the bars to try at a place, the first first."""
        ends = (self.turn if turns else ()) + (self.phrase_end if ends_phrase else ())
        return tuple(tuple(bar.split()) for bar in dict.fromkeys((*ends, *self.plain)))


FAMILIES: dict[tuple[int, int, Pace], Family] = {
    # pulses, parts of a pulse, pace
    (2, 2, "easy"): Family(("d . d u", "d . d .", "d u d ."), ("d u d u",), ("d . d u",)),
    (3, 2, "easy"): Family(
        ("d . d u d .", "d . d . d u", "d . d u d u", "d . d . d ."), ("d u d . d .",), ("d . d u d u",)
    ),
    (4, 2, "easy"): Family(
        ("d . d u d . d u", "d . d . d u d .", "d u d u d . d ."), ("d . d u d u d .",), ("d . d . d u d u",)
    ),
    (2, 2, "lively"): Family(
        ("d . d u", "d u . u", "d . d .", "d . . u"), ("d u d u", ". u d ."), ("d u d u", "d . . u")
    ),
    (3, 2, "lively"): Family(
        ("d . d u d u", "d . . u d .", "d u d . d u", "d . d u . u"),
        ("d u d u d .", "d . d . . u"),
        ("d . d u d u", "d u . u d u"),
    ),
    (4, 2, "lively"): Family(
        ("d . d u . u d u", "d . d . d u d .", "d u . u d u . u", "d . d u d . d u"),
        ("d . d u d u . u", "d u d . d . d ."),
        ("d u d u d u d u", "d . . u d . . u"),
    ),
    (2, 2, "quick"): Family(("d . u .", "d . d .", "u . d ."), ("d . . .",), ("d . u .",)),
    (3, 2, "quick"): Family(
        ("d . u . d .", "d . d . u .", "d . u . u .", "d . . . d ."), ("d . d . . .",), ("d . d . u .",)
    ),
    (4, 2, "quick"): Family(
        ("d . u . d . u .", "d . d . u . d .", "u . d . d . u ."), ("d . d . d . . .",), ("d . u . d . u .",)
    ),
    (1, 3, "easy"): Family(("d . u", "d . .", ". . u"), ("d . .",), ("d . u",)),
    (2, 3, "easy"): Family(
        ("d . u d . .", "d . . d . u", "d . u d . u", "d . . d . ."), ("d . u d . .",), ("d . u d . u",)
    ),
    (3, 3, "easy"): Family(
        ("d . u d . . d . u", "d . . d . u d . .", "d . u d . u d . ."),
        ("d . u d . . d . .",),
        ("d . . d . u d . u",),
    ),
    (4, 3, "easy"): Family(
        ("d . . d . u d . . d . u", "d . u d . . d . u d . .", "d . . d . . d . u d . u"),
        ("d . u d . u d . . d . .",),
        ("d . . d . u d . u d . u",),
    ),
    (1, 3, "lively"): Family(("d . u", "d u .", "d . .", ". . u"), ("d . .", "d u ."), ("d u d", "d . u")),
    (2, 3, "lively"): Family(
        ("d . u d . u", "d . . d u .", "d u d . . u", "d . u . . u"),
        ("d . u d . .", "d u . d . ."),
        ("d . u d u d", "d . u d . u"),
    ),
    (3, 3, "lively"): Family(
        ("d . u d . u d . .", "d . . d u . d . u", "d . u . . u d u ."),
        ("d . u d . u d . .", "d . . d . . d . ."),
        ("d . u d . u d u d",),
    ),
    (4, 3, "lively"): Family(
        ("d . u d . u d . . d . u", "d . . d u . d . u . . u", "d . u . . u d . u d u ."),
        ("d . u d . . d . u d . .", "d . . d . u d . . d . ."),
        ("d . u d . u d . u d u d",),
    ),
    (1, 3, "quick"): Family(("d . .", "u . ."), ("d . .",), ("d . .",)),
    (2, 3, "quick"): Family(
        ("d . . u . .", "d . . d . .", "u . . d . ."), ("d . . . . .",), ("d . . u . .",)
    ),
    (3, 3, "quick"): Family(
        ("d . . u . . d . .", "d . . d . . u . .", "d . . u . . u . ."),
        ("d . . d . . . . .",),
        ("d . . d . . u . .",),
    ),
    (4, 3, "quick"): Family(
        ("d . . u . . d . . u . .", "d . . d . . u . . d . .", "u . . d . . d . . u . ."),
        ("d . . d . . d . . . . .",),
        ("d . . u . . d . . u . .",),
    ),
}


def family_of(meter: Meter, players: Players, part_s: float) -> Family | None:
    """Return the family of a meter at a tempo, None for a meter of five pulses or more.

    Parameters
    ----------
    meter
        The song's.
    players
        Whose hands.
    part_s
        How long a part of a pulse lasts.
    """
    parts = _parts(meter)
    pace: Pace = "easy" if players == "beginner" else "lively"
    if part_s < SHORTEST_PART_S[players]:
        pace = "quick"
    return FAMILIES.get((meter.pulses, parts, pace))


def usual_pattern(song: Song) -> tuple[Slot, ...]:
    """Return one bar to strum throughout: the song's own pattern, else the first of its family."""
    if song.strum is not None:
        return song.strum
    meter = song.meter
    part_s = 60 / float(song.tempo) / _parts(meter)
    family = family_of(meter, song.players, part_s)
    if family is None:
        return tuple("d" if place % int(meter.pulse_beat) == 0 else "." for place in range(meter.upper))
    return tuple(family.plain[0].split())


def finest_pattern(meter: Meter) -> tuple[Slot, ...]:
    """Return a stroke on every part of a bar's pulses: wherever any family of the meter may strike.

    >>> finest_pattern(Meter(3, 4))
    ('d', 'd', 'd', 'd', 'd', 'd')
    """
    return ("d",) * int(Fraction(meter.pulses) * _parts(meter))


def _parts(meter: Meter) -> int:
    return 3 if meter.pulse_beat == 3 else 2
