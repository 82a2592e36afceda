"""The body: what the bridge does to the string, and what is heard of the bridge's force.

A small box has a few resonances: the air inside at about 270 Hz, the top from about 390 Hz on, and many weak ones
above. Each is a damped oscillator, ``(s ω/Q) / (s² + s ω/Q + ω²)``, 1 at its peak (Fletcher and Rossing, The Physics of
Musical Instruments, 9.7, modal description of a guitar's body). The list is plausible for a concert size, not measured
from one.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["BODY_MODES", "body_response", "bridge_admittance"]

BODY_MODES: tuple[tuple[float, float, float], ...] = (
    (268.0, 6.0, 0.55), (392.0, 6.0, 0.60), (545.0, 7.0, 0.40), (690.0, 7.0, 0.40), (880.0, 8.0, 0.42),
    (1120.0, 9.0, 0.42), (1430.0, 10.0, 0.42), (1820.0, 11.0, 0.42), (2350.0, 12.0, 0.42), (3050.0, 12.0, 0.40),
    (4000.0, 11.0, 0.34), (5200.0, 10.0, 0.28),
)  # fmt: skip
"""Frequency in Hz, sharpness Q, and part in what is heard. All parts are positive, as in a body driven and heard at
one place; of signs that alternate, some notes would lose their fundamental in the holes between the modes."""

DIRECT = 0.5
"""What the strings and the top near the bridge give off without a resonance; it keeps notes between modes alive."""

RADIATION_HZ = 700.0
"""A source smaller than a wavelength radiates in proportion to frequency; above this it no longer is small
(Fletcher and Rossing, 7.1)."""


def _mode(s: NDArray[np.complex128], frequency_hz: float, sharpness: float) -> NDArray[np.complex128]:
    """Return one damped oscillator at Laplace variables in 1/s, (points,): 1 at its peak."""
    omega = 2.0 * math.pi * frequency_hz
    damped = s * (omega / sharpness)
    return damped / (s * s + damped + omega * omega)


def body_response(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return what is heard of a force at the bridge, (points,): the direct sound and all modes, as they radiate."""
    heard = DIRECT + 0.0 * s
    for frequency_hz, sharpness, part in BODY_MODES:
        heard = heard + part * _mode(s, frequency_hz, sharpness)
    corner = 2.0 * math.pi * RADIATION_HZ
    return heard * (s / (s + corner)) * (s / (s + 0.2 * corner))


def bridge_admittance(s: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return how willingly the bridge moves, (points,): modes as they take energy from the string, 0 between them."""
    moves = 0.0 * s
    for frequency_hz, sharpness, part in BODY_MODES[:6]:
        moves = moves + part * _mode(s, frequency_hz, sharpness)
    return moves
