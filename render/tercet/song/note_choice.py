"""A choice of notes: which of the notes that sound are meant, by layer, string, stroke, bar, section and phrase.

What a choice says in words, and how the words are read, stands in `tercet.song.choice_words`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from operator import attrgetter
from typing import Literal, TypeAlias

from tercet.song.model import Layer

__all__ = [
    "DIMENSIONS",
    "BarsOfSection",
    "Both",
    "Choice",
    "Counted",
    "Either",
    "NoteFacts",
    "Numbered",
    "Parity",
    "Ranges",
    "Unless",
    "Word",
    "never_together",
    "parts_of",
]

Counted: TypeAlias = Literal["string", "bar", "phrase", "pass"]
"""What notes can be chosen by the number of."""

Ranges: TypeAlias = tuple[tuple[int, int], ...]
"""First and last of each run of numbers, rising, with a gap between one run and the next."""


@dataclass(frozen=True, slots=True)
class NoteFacts:
    """What a note can be chosen by.

    Parameters
    ----------
    layer
        Whose note it is.
    string, fret
        Where it is played, string 1 nearest the floor, fret 0 open, None for a note that no
        string has. For a string of a roll, where the roll's *tune
        note* is played: a roll stays whole and goes with its tune.
    action
        ``"roll"``, ``"single"``, ``"strum"`` or ``"chop"``.
    part
        What the string itself sounds: ``"tune"``, ``"added"``, ``"chord"`` or ``"second"``.
    bar_number
        Which bar of the piece as played, as a musician counts; 0 in a pick-up at the very start.
    section, section_bar, pass_number, last_pass
        Where in the form: a pick-up belongs to the section that it leads into, as its bar 0. Passes count from 1.
    phrase
        Which phrase of the piece as played, from 1.
    """

    layer: Layer
    string: int
    fret: int | None
    action: str
    part: str
    bar_number: int
    section: str
    section_bar: int
    pass_number: int
    last_pass: bool
    phrase: int


class Choice(ABC):
    """A choice of notes; `str` writes it in the words that read as the same choice."""

    __slots__ = ()

    @abstractmethod
    def picks(self, note: NoteFacts) -> bool:
        """Return whether a note is chosen."""


DIMENSIONS: dict[str, dict[str, Callable[[NoteFacts], bool]]] = {
    "any": {"all": lambda _: True, "nothing": lambda _: False},
    "layer": {
        "melody": lambda note: note.layer == "melody",
        "second": lambda note: note.layer == "second",
        "between": lambda note: note.layer == "between",
        "strums": lambda note: note.layer == "strums",
    },
    "part": {
        "tune": lambda note: note.part == "tune",
        "added": lambda note: note.part == "added",
        "chord": lambda note: note.part == "chord",
    },
    "action": {
        "roll": lambda note: note.action == "roll",
        "single": lambda note: note.action == "single",
        "strum": lambda note: note.action == "strum",
        "chop": lambda note: note.action == "chop",
    },
    "fret": {"open": lambda note: note.fret == 0, "fretted": lambda note: note.fret != 0},
    "last": {"last pass": lambda note: note.last_pass},
}
"""The words that choose by themselves: what they tell apart, and how. Those of one kind exclude each other."""

_PICKS = {word: picks for words in DIMENSIONS.values() for word, picks in words.items()}
_DIMENSION_OF = {word: dimension for dimension, words in DIMENSIONS.items() for word in words}

_NUMBER_OF: dict[Counted, Callable[[NoteFacts], int]] = {
    "string": attrgetter("string"),
    "bar": attrgetter("bar_number"),
    "phrase": attrgetter("phrase"),
    "pass": attrgetter("pass_number"),
}


def _within(number: int, ranges: Ranges) -> bool:
    for first, last in ranges:  # noqa: SIM110 - a generator would take three times as long
        if first <= number <= last:
            return True
    return False


def _plural(word: str) -> str:
    return f"{word}es" if word == "pass" else f"{word}s"


def _ranges_text(ranges: Ranges) -> str:
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in ranges)


def _one_number(ranges: Ranges) -> bool:
    return len(ranges) == 1 and ranges[0][0] == ranges[0][1]


@dataclass(frozen=True, slots=True)
class Word(Choice):
    """A word of `DIMENSIONS`."""

    word: str

    def picks(self, note: NoteFacts) -> bool:
        """Return whether a note is what the word says."""
        return _PICKS[self.word](note)

    def __str__(self) -> str:
        return self.word


@dataclass(frozen=True, slots=True)
class Numbered(Choice):
    """Strings, bars, phrases or passes by number: ``strings 1-2``, ``bars 3, 5-8``."""

    counted: Counted
    ranges: Ranges

    def picks(self, note: NoteFacts) -> bool:
        """Return whether a note has one of the numbers."""
        return _within(_NUMBER_OF[self.counted](note), self.ranges)

    def __str__(self) -> str:
        name = self.counted if _one_number(self.ranges) else _plural(self.counted)
        return f"{name} {_ranges_text(self.ranges)}"


@dataclass(frozen=True, slots=True)
class Parity(Choice):
    """Every other bar, phrase or pass: ``odd bars``, ``even phrases``."""

    counted: Counted
    odd: bool

    def picks(self, note: NoteFacts) -> bool:
        """Return whether a note has such a number."""
        return _NUMBER_OF[self.counted](note) % 2 == self.odd

    def __str__(self) -> str:
        return f"{'odd' if self.odd else 'even'} {_plural(self.counted)}"


@dataclass(frozen=True, slots=True)
class BarsOfSection(Choice):
    """A section, or bars of it: ``section verse``, ``bars verse:3-4``, ``bar verse@2:3``.

    `pass_number` is None for every pass and −1 for the last; `ranges` is empty for all bars, pick-up included.
    """

    section: str
    pass_number: int | None = None
    ranges: Ranges = ()

    def picks(self, note: NoteFacts) -> bool:
        """Return whether a note stands there."""
        if note.section != self.section:
            return False
        if self.pass_number is not None:
            asked = note.last_pass if self.pass_number < 0 else note.pass_number == self.pass_number
            if not asked:
                return False
        return not self.ranges or _within(note.section_bar, self.ranges)

    def __str__(self) -> str:
        visit = {None: "", -1: "@last"}.get(self.pass_number, f"@{self.pass_number}")
        if not self.ranges:
            return f"section {self.section}{visit}"
        name = "bar" if _one_number(self.ranges) else "bars"
        return f"{name} {self.section}{visit}:{_ranges_text(self.ranges)}"


@dataclass(frozen=True, slots=True)
class Unless(Choice):
    """What a choice doesn't pick: ``not open``."""

    part: Choice

    def picks(self, note: NoteFacts) -> bool:
        """Return whether the part doesn't pick a note."""
        return not self.part.picks(note)

    def __str__(self) -> str:
        return f"not {_bracketed(self.part, Both, Either)}"


@dataclass(frozen=True, slots=True)
class Both(Choice):
    """What each of two or more choices picks: ``melody and open``."""

    parts: tuple[Choice, ...]

    def picks(self, note: NoteFacts) -> bool:
        """Return whether every part picks a note."""
        for part in self.parts:  # noqa: SIM110 - a generator would take three times as long
            if not part.picks(note):
                return False
        return True

    def __str__(self) -> str:
        return " and ".join(_bracketed(part, Both, Either) for part in self.parts)


@dataclass(frozen=True, slots=True)
class Either(Choice):
    """What one or more of two or more choices pick: ``open or string 1``."""

    parts: tuple[Choice, ...]

    def picks(self, note: NoteFacts) -> bool:
        """Return whether a part picks a note."""
        for part in self.parts:  # noqa: SIM110 - a generator would take three times as long
            if part.picks(note):
                return True
        return False

    def __str__(self) -> str:
        return " or ".join(_bracketed(part, Either) for part in self.parts)


def _bracketed(part: Choice, *looser: type[Choice]) -> str:
    """Return a part's words, in parentheses where they would bind less than what they stand in."""
    return f"({part})" if isinstance(part, looser) else str(part)


def parts_of(choice: Choice) -> Iterator[Choice]:
    """Yield a choice and all that it is made of."""
    yield choice
    inner = choice.parts if isinstance(choice, Both | Either) else ()
    for part in (choice.part,) if isinstance(choice, Unless) else inner:
        yield from parts_of(part)


def never_together(one: Choice, other: Choice) -> bool:
    """Return whether two choices plainly exclude each other, such as ``open`` and ``fretted``."""
    if isinstance(one, Word) and isinstance(other, Word):
        same = _DIMENSION_OF[one.word] == _DIMENSION_OF[other.word]
        return same and one != other and _DIMENSION_OF[one.word] != "any"
    if isinstance(one, Numbered) and isinstance(other, Numbered):
        return one.counted == other.counted and not _overlap(one.ranges, other.ranges)
    if isinstance(one, Parity) and isinstance(other, Parity):
        return one.counted == other.counted and one.odd != other.odd
    if isinstance(one, BarsOfSection) and isinstance(other, BarsOfSection):
        if one.section != other.section:
            return True
        return bool(one.ranges and other.ranges) and not _overlap(one.ranges, other.ranges)
    return False


def _overlap(one: Ranges, other: Ranges) -> bool:
    return any(first <= end and start <= last for first, last in one for start, end in other)
