"""What is asked of hands, as tables: the limits of the players, and what every choice costs them.

Each name stands for one thing wherever it is counted: for a note of the tune, for a strum, for a shape in a list.
"""

from __future__ import annotations

from dataclasses import dataclass

from tercet.theory import Tuning
from tercet.theory.limits import Players

__all__ = [
    "COSTS",
    "EASY_STRETCH_MM",
    "HAND_RETURN_S",
    "LIMITS",
    "MANY_FINGERS",
    "QUICK_S",
    "ROLLS_APART_S",
    "STEADY_ROLLS_APART_S",
    "STRUM_CHANGE_WEIGHT",
    "UNHURRIED_S",
    "Hands",
    "Limits",
]

COSTS: dict[str, float] = {
    # holding a shape
    "finger": 0.30,
    "barre over two strings": 0.5,
    "barre over more": 0.9,
    "little finger": 0.20,
    "unusual fingers": 0.25,
    "fret of a stretch": 0.8,
    "20 mm of stretch in a strum": 0.45,
    "fret above the third in a strum": 0.2,
    "fret of a squeeze": 0.05,
    "fret above first position": 0.1,
    "fret above third position": 0.2,
    "most telling tone missing": 0.5,
    "second tone missing": 0.25,
    "third tone missing": 0.1,
    "idle string off the chord": 0.6,
    "strums without third or root": 8.0,
    "known shape": -2.0,
    # going from one shape to the next
    "position change": 0.6,
    "fret of a position change": 2.2,
    "placing a finger": 0.25,
    "kept finger": -0.25,
    "guide finger": 0.12,
    "finger carried across": 0.6,
    "three fingers in a hurry": 25.0,
    "fret out of reach": 1.0,
    "far out of reach": 0.6,
    # striking
    "string crossed": 0.1,
    "fretted string 4": 0.6,
    "idle finger": 0.45,
    "most telling tone not struck": 9.0,
    "seventh not struck": 6.0,
    "one tone of the chord alone": 4.0,
    "other hand than in an equal bar": 10.0,
    "other fingers than before": 10.0,
    "wanted roll missing": 20.0,
    "only one string under the tune": 0.6,
    "start on string 3": 0.4,
    "unison": 0.3,
    "a semitone under the tune": 16.0,
    "octave": 10.0,
    "masked": 20.0,
    "fret out of these players' reach": 2.0,
    "added note let go": 3.0,
    # one note ringing over the next
    "same string as the note before": 10.0,
    "note before let go": 3.4,
    # the right hand going back and forth
    "roll right after a note": 1.0,
    "thumb to strum": 0.35,
    "strum to thumb": 0.35,
    "strum in a space": -1.0,
}
"""What a choice costs. The figures come from trials on folk tunes and were then moved, with the table that
`benchmarks/corpus.py` prints, towards what a class can play and hear: a missing roll is dear, so that keys and hands
are chosen for the tune to come out; a masked tune costs more still, so that only a pin brings one; the hand stays in
first position unless the tune leads it away. A weight with a minus is worth something."""

EASY_STRETCH_MM = 40.0
"""Frets 1 to 3 of a concert ukulele; a wider hand stretches."""

MANY_FINGERS = 3
"""Nobody sets so many fingers anew in a hurry: see `Limits.three_fingers_s`."""

HAND_RETURN_S = 0.15
"""The thumb needs this long to come back from one roll for the next, and to be ready for the note after it."""

QUICK_S, ROLLS_APART_S, STEADY_ROLLS_APART_S = 0.2, 0.6, 1.65
"""A note that lasts less than the first wants a roll only where the last one is as long ago as the second; as the third
where it has no new chord to tell."""

UNHURRIED_S = 0.25
"""A note that lasts so long may be rolled, however short it is written."""

STRUM_CHANGE_WEIGHT = 0.5
"""A change of hand for a strum weighs so much of one for a note of the tune: nobody minds a strum that comes late."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What hands are asked to do.

    Parameters
    ----------
    highest_fret, highest_chord_fret
        The highest fret for the tune, and for the chord under it, 0 to 15.
    most_fingers
        Fingers at once, 1 to 4.
    barre
        Whether the index finger may lie over several strings.
    widest_mm
        Widest stretch along the neck, in mm.
    three_fingers_s
        In less time they aren't asked to set three fingers anew.
    roll_s
        A note that lasts less wants no roll.
    """

    highest_fret: int
    highest_chord_fret: int
    most_fingers: int
    barre: bool
    widest_mm: float
    three_fingers_s: float
    roll_s: float


LIMITS: dict[Players, Limits] = {
    "beginner": Limits(5, 4, 3, barre=False, widest_mm=60.0, three_fingers_s=0.8, roll_s=0.25),
    "improving": Limits(7, 5, 4, barre=True, widest_mm=75.0, three_fingers_s=0.4, roll_s=HAND_RETURN_S),
    "free": Limits(12, 12, 4, barre=True, widest_mm=85.0, three_fingers_s=0.15, roll_s=HAND_RETURN_S),
}


@dataclass(frozen=True, slots=True)
class Hands:
    """Hands on a neck: all that decides which shapes can be held.

    Parameters
    ----------
    tuning, scale_length_mm
        The strings and how long they are.
    limits
        What the hands are asked to do.
    """

    tuning: Tuning
    scale_length_mm: float
    limits: Limits
