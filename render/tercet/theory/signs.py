"""The signs of the trade: dynamic marks and how loud each is; strum signs and what the hand does at each."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DYNAMIC_MARKS", "MARK_LEVEL_DB", "STRUM_SIGNS", "StrumSign", "in_front"]

MARK_LEVEL_DB: dict[str, float] = {
    "ppp": -16.0, "pp": -12.0, "p": -8.0, "mp": -4.0, "mf": 0.0, "f": 4.0, "ff": 8.0, "fff": 12.0,
}  # fmt: skip
"""Level of each dynamic mark relative to mf, the softest first."""

DYNAMIC_MARKS: tuple[str, ...] = tuple(MARK_LEVEL_DB)


def in_front(mark: str) -> str:
    """Return the mark of strums with nobody in front of them: one step under that of the tune.

    >>> in_front("f"), in_front("ppp")
    ('mf', 'ppp')
    """
    return DYNAMIC_MARKS[max(DYNAMIC_MARKS.index(mark) - 1, 0)]


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
