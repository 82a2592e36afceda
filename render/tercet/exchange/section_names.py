"""Names for sections, from what the file calls them or else letters."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

__all__ = ["SectionNames", "plain_name"]

_LONGEST = 24
_SIGNS = re.compile(r"[^\w]+|_+")

Shape = tuple[Fraction, int]


def plain_name(text: str) -> str:
    """Return a name that a section may have; empty when no letter is left.

    >>> plain_name("Verse 2:")
    'verse-2'
    >>> plain_name("1st time")
    'part-1st-time'
    """
    name = _SIGNS.sub("-", unicodedata.normalize("NFC", text).casefold()).strip("-")[:_LONGEST].strip("-")
    if not name:
        return ""
    return name if name[0].isalpha() else f"part-{name}"


class SectionNames:
    """Gives every stretch of measures a name of its own, and the same name to what the file calls the same.

    Parameters
    ----------
    single
        Whether there is only one stretch.
    """

    def __init__(self, *, single: bool) -> None:
        self._single = single
        self._of_range: dict[tuple[int, int], str] = {}
        self._shapes: dict[str, tuple[str, Shape]] = {}
        self._base = ""
        self._letters = 0

    def name(self, measures: tuple[int, int], label: str, endings: tuple[int, ...], shape: Shape) -> str:
        """Return the section's name.

        Parameters
        ----------
        measures
            First measure, and the one after the last.
        label
            What the file calls it; empty when it says nothing.
        endings
            The passes of the bracket over it.
        shape
            Length of the pick-up and number of bars: sections of one name must agree in both.
        """
        if measures not in self._of_range:
            self._of_range[measures] = self._new(label, endings, shape)
        name = self._of_range[measures]
        if not endings:
            self._base = name
        return name

    def _new(self, label: str, endings: tuple[int, ...], shape: Shape) -> str:
        wanted = plain_name(label)
        if wanted and not endings:
            return self._labelled(wanted, shape)
        if endings:
            wanted = f"{self._base or 'part'}-ending-{endings[0]}"
        elif self._single:
            wanted = "tune"
        else:
            self._letters += 1
            wanted = _letter(self._letters)
        return self._unused(wanted, "", shape)

    def _labelled(self, wanted: str, shape: Shape) -> str:
        """Return the section of that label and shape, an earlier one if there is one."""
        for name, (label, known) in self._shapes.items():
            if label == wanted and known == shape:
                return name
        return self._unused(wanted, wanted, shape)

    def _unused(self, wanted: str, label: str, shape: Shape) -> str:
        name, number = wanted, 1
        while name in self._shapes:
            number += 1
            name = f"{wanted}-{number}"
        self._shapes[name] = (label, shape)
        return name


def _letter(number: int) -> str:
    """Return a letter for each number from 1, and a2, b2 and so on after z."""
    turn, place = divmod(number - 1, 26)
    return chr(ord("a") + place) + (str(turn + 1) if turn else "")
