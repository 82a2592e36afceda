"""A measure of MusicXML while it is read, and the log of what was dropped or is damaged, measure by measure."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction

from tercet.exchange.leadsheet import LeadChord, LeadMark, LeadNote, TuneError
from tercet.theory import Pitch

__all__ = ["Draft", "Log"]


@dataclass(slots=True)
class Draft:
    """A measure while it is read.

    `keeps_chord` tells whether the last note is one of the tune, which others struck with it may join, and `last_place`
    where among the notes, which are in order of time, it stands.
    """

    notes: list[LeadNote] = field(default_factory=list)
    chords: list[LeadChord] = field(default_factory=list)
    marks: list[LeadMark] = field(default_factory=list)
    signs: dict[str, object] = field(default_factory=dict)
    now: Fraction = Fraction(0)
    end: Fraction = Fraction(0)
    last_place: int = 0
    keeps_chord: bool = False
    graces: list[Pitch] = field(default_factory=list)


class Log:
    """What is said of a part: dropped and changed things with their measures, and damage, which ends the reading.

    Parameters
    ----------
    file
        What to call the file in messages.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.number = ""
        self._dropped: Counter[str] = Counter()
        self._where: dict[str, list[str]] = {}

    def remarks(self) -> list[str]:
        """Return what was dropped or changed, one sentence a kind, with the measures."""
        sentences = []
        for what in self._dropped:
            places = list(dict.fromkeys(self._where[what]))
            shown = ", ".join(places[:8]) + (", …" if len(places) > 8 else "")
            sentences.append(f"{what} (measure{'' if len(places) == 1 else 's'} {shown})")
        return sentences

    def drop(self, what: str) -> None:
        """Note that something was dropped or changed in this measure."""
        self._dropped[what] += 1
        self._where.setdefault(what, []).append(self.number or "?")

    def damaged(self, what: str) -> TuneError:
        """Return the error for what can't be in this measure."""
        place = f"{self.file}: measure {self.number or '?'}"
        return TuneError(f"{place}: {what}: the file is damaged; export it again")

    def whole(self, text: str | None, what: str, low: int, high: int) -> int:
        """Return a whole number of the file; `TuneError` beyond its range."""
        try:
            number = int((text or "").strip())
        except ValueError:
            number = low - 1
        if not low <= number <= high:
            shown = (text or "nothing").strip()[:20]
            raise self.damaged(f"{what} must be a whole number from {low} to {high} (got {shown})")
        return number

    def fraction(self, text: str | None, what: str) -> Fraction:
        """Return a number of the file; `TuneError` when it isn't one."""
        cleaned = (text or "").strip()
        if not re.fullmatch(r"-?\d{1,9}(\.\d{1,9})?", cleaned):
            raise self.damaged(f"{what} must be a number (got {cleaned[:20] or 'nothing'})")
        return Fraction(cleaned)

    def take_over(self, other: Log, beginning: str) -> None:
        """Add what another log says of things whose name begins so."""
        for what, count in other._dropped.items():
            if what.startswith(beginning):
                self._dropped[what] += count
                self._where.setdefault(what, []).extend(other._where[what])
