"""Sizes of instrument: how long their strings are, and how they are usually tuned."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["INSTRUMENTS", "Instrument"]


@dataclass(frozen=True, slots=True)
class Instrument:
    """One size.

    Parameters
    ----------
    name
        As a song file names it.
    scale_length_mm
        Length of the sounding string, nut to saddle.
    tuning
        What it is tuned to where nothing else is said, by its name in `TUNINGS`.
    """

    name: str
    scale_length_mm: float
    tuning: str = "high-g"


_ROWS = (
    Instrument("soprano", 346.0),
    Instrument("concert", 380.0),
    Instrument("tenor", 430.0),
    Instrument("baritone", 510.0, tuning="baritone"),
)

INSTRUMENTS: dict[str, Instrument] = {row.name: row for row in _ROWS}
"""The sizes that have a name, smallest first."""
