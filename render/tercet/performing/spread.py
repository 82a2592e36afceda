"""From a gesture to its strings: how a roll or a strum spreads in time."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from tercet.arranging import Gesture

__all__ = ["string_delays_s"]

ROLL_STEP_S = 0.022
ROLL_STEP_RANGE_S = (0.015, 0.030)
ROLL_LIMIT_S = 0.090
"""From string to string a roll takes about 22 ms at mf and 100 pulses a minute, always 15–30 ms, and at most 90 ms in
all. The figures come from trials."""

ROLL_STEP_PER_DB_S = 0.0006
"""A roll is wider when it is soft …"""

ROLL_PULSE_S = 0.6
"""… and when it is slow: its step grows with the root of the pulse, which has this length at 100 a minute."""

STRUM_STEP_PART = 0.55
UP_STRUM_PART = 0.85
"""A strum is quicker than a roll, and a finger coming up quicker than a hand falling."""

ROLL_ROOM_PART = 0.6
"""A gesture takes at most this part of the time since the gesture before was struck."""


def string_delays_s(
    gesture: Gesture, level_db: float, pulse_s: float, room_s: float, uneven: Sequence[float] = ()
) -> tuple[float, ...]:
    """Return when each string of a gesture is struck, in seconds from its beat: all before it, the last on it.

    The tune is struck last and on the beat: it is loudest, and a voice that is later and louder is heard as
    louder (Goebl & Parncutt 2002).

    Parameters
    ----------
    gesture
        Its strings are in the order struck.
    level_db
        How loud it is, relative to mf.
    pulse_s
        How long a pulse lasts.
    room_s
        Time since the gesture before was struck.
    uneven
        For each step between two strings by how much it is longer, as a part of an even one; even without it.
    """
    count = len(gesture.notes)
    if count == 1:
        return (0.0,)
    shortest_s, longest_s = ROLL_STEP_RANGE_S
    step_s = (ROLL_STEP_S - ROLL_STEP_PER_DB_S * level_db) * sqrt(pulse_s / ROLL_PULSE_S)
    step_s = min(max(step_s, shortest_s), longest_s)
    if gesture.action == "roll":
        steps_s = [min(max(step_s * (1.0 + part), shortest_s), longest_s) for part in uneven]
    else:
        step_s *= STRUM_STEP_PART * (UP_STRUM_PART if gesture.up else 1.0)
        steps_s = [step_s * (1.0 + part) for part in uneven]
    steps_s = steps_s or [step_s] * (count - 1)
    whole_s = sum(steps_s)
    spread_s = min(whole_s, ROLL_LIMIT_S, max(ROLL_ROOM_PART * room_s, 0.0))
    return tuple(-spread_s * sum(steps_s[place:]) / whole_s for place in range(count))
