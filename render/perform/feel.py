"""How closely the three players keep together, as one word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from render.song import Feel

__all__ = ["FEELS", "Looseness"]


@dataclass(frozen=True, slots=True)
class Looseness:
    """Spreads of the small deviations (standard deviations) at 100 pulses a minute.

    Parameters
    ----------
    together_s
        What all players share, in seconds.
    own_s
        What each adds of its own, in seconds.
    level_db
        Of the level, in dB.
    """

    together_s: float
    own_s: float
    level_db: float


FEELS: dict[Feel, Looseness] = dict(
    zip(
        get_args(Feel),
        (Looseness(0.003, 0.0015, 0.3), Looseness(0.006, 0.0025, 0.6), Looseness(0.010, 0.0045, 1.0)),
        strict=True,
    )
)
"""steady, natural, loose: 3.4, 6.5 and 11 ms in all. A good amateur ensemble has 5–15 ms. Players of one group share
most of it (Hennig 2014): their deviations correlate by 0.80, 0.85 and 0.83."""
