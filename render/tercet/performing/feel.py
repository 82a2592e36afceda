"""How exactly the three players play: the size of their deviations, as words that a teacher may choose."""

from __future__ import annotations

from dataclasses import dataclass

from tercet.song import Feel

__all__ = ["FEELS", "LEAST_SCALE", "MOST_SCALE", "FeelFigures", "pulse_scale"]

USUAL_PULSE_S = 0.6
"""The spreads in milliseconds hold for a pulse of this length, 100 a minute."""

LEAST_SCALE, MOST_SCALE = 0.6, 1.5
"""What people are off grows with the time between beats; beyond these, counting in halves or bars takes over."""


@dataclass(frozen=True, slots=True)
class FeelFigures:
    """What a word stands for.

    Parameters
    ----------
    together_sd_s
        Spread of what all three layers share, in seconds at 100 pulses a minute.
    own_sd_s
        Spread of what each adds of its own.
    level_sd_db
        Spread of a gesture's level around its mark.
    uneven_part
        By how much the steps between the strings of a roll or strum differ, as a part of one step.
    drift_part
        Spread of the tempo around the song's own, as a part of it.
    """

    together_sd_s: float
    own_sd_s: float
    level_sd_db: float
    uneven_part: float
    drift_part: float


FEELS: dict[Feel, FeelFigures] = {
    "steady": FeelFigures(0.0030, 0.0012, 0.3, 0.06, 0.004),
    "natural": FeelFigures(0.0060, 0.0025, 0.6, 0.12, 0.008),
    "loose": FeelFigures(0.0110, 0.0050, 1.0, 0.20, 0.016),
}
"""Together 3.2, 6.5 and 12 ms: a good amateur ensemble has 5–15 ms (Hennig et al. 2011). The tempo of natural players
stays within 2 % of the song's (2.5 spreads): less than the 2.5 % from which a change is noticed (Friberg & Sundberg
1995, J. Acoust. Soc. Am. 98(5))."""


def pulse_scale(pulse_s: float) -> float:
    """Return by how much the deviations of a song are larger or smaller than at 100 pulses a minute.

    Parameters
    ----------
    pulse_s
        How long a pulse lasts at the song's own tempo; practising slower doesn't change how a phrase is played.
    """
    return min(max(pulse_s / USUAL_PULSE_S, LEAST_SCALE), MOST_SCALE)
