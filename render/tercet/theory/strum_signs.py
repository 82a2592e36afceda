"""The signs of a strum pattern: what the hand does in a slot."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["STRUM_SIGNS", "StrumSign"]


@dataclass(frozen=True, slots=True)
class StrumSign:
    """One sign.

    Parameters
    ----------
    sign
        One character.
    about
        What it means, in a few words, for editors.
    up
        Whether the hand moves up; else down.
    accent
        Whether it is struck harder.
    chop
        Whether the strings are damped.
    silent
        Whether nothing is struck.
    """

    sign: str
    about: str
    up: bool = False
    accent: bool = False
    chop: bool = False
    silent: bool = False


_ROWS = (
    StrumSign("d", "down"),
    StrumSign("u", "up", up=True),
    StrumSign("D", "down, accented", accent=True),
    StrumSign("U", "up, accented", up=True, accent=True),
    StrumSign("x", "a chop", chop=True),
    StrumSign(".", "nothing", silent=True),
)

STRUM_SIGNS: dict[str, StrumSign] = {row.sign: row for row in _ROWS}
"""All signs."""
