"""The thumb: where it plucks, and how soft or firm.

A string let go at a part p of its length moves the bridge with ``(1 − e^(−2πj n p))`` at partial n (Fletcher and
Rossing, 2.10), falling as 1/n. Flesh is wide and lets go slowly: that takes the upper partials away by a Gaussian,
which has no phase of its own, so a soft and a firm stroke of one string move together and can be mixed without
cancelling. That the width of the finger acts as such a low-pass: K. Bradley, M.-H. Cheng and V. Stonick, "Automated
analysis and computationally efficient synthesis of acoustic guitar strings and body", IEEE WASPAA (1995).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["LET_GO_S", "WIDEST_S", "pluck_place", "pluck_transform", "touch_transform"]

LET_GO_S = 0.002
"""When the string is let go: the middle of the stroke, after the sample's beginning."""

FURTHEST_PLACE = 0.23
"""The thumb never plucks nearer to the middle of the sounding string than this."""

FOLLOWS_FRET = 0.35
"""How much of the string's shortening the thumb leaves as it is; for the rest it moves towards the bridge."""

CORNER_PARTIAL = 6.0
"""From this partial on, the pluck falls as 1/n."""

NARROWEST_S, WIDEST_S = 0.000027, 0.0011
"""Standard deviation of the firmest and the softest stroke, in seconds."""


def pluck_place(open_place: float, fret: int) -> float:
    """Return where the thumb plucks, as a part of the sounding length from the bridge.

    The thumb mostly stays where it is while the string gets shorter: ``p · 2^(FOLLOWS_FRET · fret/12)``, up to
    `FURTHEST_PLACE`.
    """
    return float(min(open_place * 2.0 ** (FOLLOWS_FRET * fret / 12.0), FURTHEST_PLACE))


def pluck_transform(
    s: NDArray[np.complex128], turns: NDArray[np.complex128], place: float, frequency_hz: float
) -> NDArray[np.complex128]:
    """Return the force on the bridge of a string let go at a place, before it rings, (points,).

    ``(1 − e^(−2πj n p)) / (1 + s/(2π·c·f₁))``: the comb of the place, and the 1/n of a string that was drawn aside; it
    begins at partial c = `CORNER_PARTIAL`, because a thumb that is moving also gives the string some speed.
    """
    return np.asarray(
        (1.0 - np.exp(-2j * np.pi * place * turns))
        / (1.0 + s / (2.0 * np.pi * CORNER_PARTIAL * frequency_hz))
    )


def touch_transform(s: NDArray[np.complex128], width_s: float) -> NDArray[np.complex128]:
    """Return the low-pass of a touch, (points,): a Gaussian of a standard deviation in seconds, around `LET_GO_S`."""
    return np.asarray(np.exp(0.5 * (s * width_s) ** 2 - s * LET_GO_S))
