"""How far things may go: the one table that readers, options, schemas and docs/format.md take their limits from."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

__all__ = [
    "FRONT_RANGE_LU",
    "LAST_FRET",
    "LOWER_FIGURES",
    "MOST_ADDED_BARS",
    "MOST_BARS",
    "MOST_COUNT_IN_BARS",
    "MOST_KEY_SEMITONES",
    "MOST_LOOPS",
    "MOST_OWN_TRACKS",
    "MOST_SEMITONES",
    "MOST_UPPER",
    "MOST_VISITS",
    "SCALE_RANGE_MM",
    "SPEED_RANGE",
    "SWING_RANGE",
    "TEMPO_RANGE",
    "Players",
    "percent_range",
]

# ---- the instrument

LAST_FRET = 15
"""The highest fret that is written, played and sampled; most instruments of any size have it, if not easily reached."""

SCALE_RANGE_MM = (250, 700)
"""Nut to saddle."""

MOST_SEMITONES = 24
"""How far a song may be transposed, up or down."""

MOST_KEY_SEMITONES = 11
"""How far a singer's key may lie from the class's: an octave away it is the same key again."""

Players = Literal["beginner", "improving", "free"]
"""What hands are asked to do; see `tercet.neck.demands`."""

# ---- the song

MOST_UPPER = 16
"""Beats in a bar."""

LOWER_FIGURES = (1, 2, 4, 8, 16, 32)
"""Of a meter."""

TEMPO_RANGE = (20, 400)
"""Pulses a minute."""

SWING_RANGE = (Fraction(1, 2), Fraction(3, 4))
"""Where the second half of a pulse may fall."""

FRONT_RANGE_LU = (0, 24)
"""How far the strums may lie behind the melody."""

MOST_VISITS = 500
"""Sections that a form plays."""

MOST_BARS = 2000
"""As played: more than an hour of music."""

MOST_ADDED_BARS = 16
"""Of an intro, a turnaround or a tag."""

# ---- tracks

SPEED_RANGE = (Fraction(1, 4), Fraction(2))
"""Parts of the song's tempo at which it can be played."""

MOST_COUNT_IN_BARS = 8

MOST_LOOPS = 50
"""Times that a loop is played."""

MOST_OWN_TRACKS = 50


def percent_range() -> str:
    """Return the range of speeds as it is told.

    >>> percent_range()
    '25% to 200%'
    """
    return " to ".join(f"{speed * 100}%" for speed in SPEED_RANGE)
