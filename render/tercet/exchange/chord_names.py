"""Chord names from outside: any name that a textbook would build, read as tones, and the chord of ours nearest to it.

A song knows the names in `tercet.theory.chords`. Files from elsewhere bring others (``Cm7add11``, ``Abb``, ``C7alt``),
so here a name is taken apart: a root, a triad, a seventh and what is stacked on it, tones added, altered or left out,
a bass. What a song has no name for becomes the nearest that it has; the caller says so.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from tercet.exchange.harmony import nearest_quality, plain_tone
from tercet.theory import Chord, parse_chord
from tercet.theory.chords import DEGREES, ChordNameError, plain_signs
from tercet.theory.pitch import ALTERS

__all__ = ["NamedChord", "read_chord_name"]

_ROOT = re.compile(r"([A-G])(##?|bb?|)(?![#b]*[#b])(.*)", re.DOTALL)
_BASS = re.compile(r"(.*)/([A-G])(##?|bb?|)", re.DOTALL)
_LONGEST = 30

_STACKS = {7: (), 9: (14,), 11: (14, 17), 13: (14, 17, 21)}
"""What a figure stacks on the seventh."""

_OF_THE_SCHOOL: dict[str, tuple[int, ...]] = {
    "power": (0, 7),
    "pedal": (0,),
    "N6": (0, 1, 4, 6),
    "It+6": (0, 6, 8),
    "It": (0, 6, 8),
    "Fr+6": (0, 2, 6, 8),
    "Fr": (0, 2, 6, 8),
    "Gr+6": (0, 3, 6, 8),
    "Ger": (0, 3, 6, 8),
    "tristan": (0, 6, 10, 3),
}
"""Names of harmony lessons, with semitones above the note before them."""


@dataclass(frozen=True, slots=True)
class NamedChord:
    """What a name says, and the chord that stands for it in a song.

    Parameters
    ----------
    tones
        Pitch classes, the bass included, the eleventh of a thirteenth too.
    chord
        The nearest chord that a song can hold.
    exact
        Whether that chord has the same tones, an eleventh that players leave out of a thirteenth apart.
    """

    tones: frozenset[int]
    chord: Chord
    exact: bool


@lru_cache(maxsize=4096)
def read_chord_name(text: str) -> NamedChord:
    """Read a chord name.

    Raises
    ------
    ChordNameError
        When it can't be taken apart.

    >>> str(read_chord_name("Cm7add11").chord), read_chord_name("Abb7").exact
    ('Cm7', True)
    """
    try:
        known = parse_chord(text)
    except ChordNameError:
        known = None
    root, intervals, bass = _taken_apart(text, known)
    root_class = plain_tone(*root)[1]
    tones = {(root_class + interval) % 12 for interval in intervals}
    if bass is not None:
        tones.add(plain_tone(*bass)[1])
    if known is not None:
        return NamedChord(frozenset(tones), known, True)
    quality, exact = nearest_quality({interval % 12 for interval in intervals})
    letter, alter = plain_tone(*root)[0]
    chord = Chord(letter, alter, quality, plain_tone(*bass)[0] if bass else None)
    return NamedChord(frozenset(tones), chord, exact)


_Tone = tuple[str, int]


def _taken_apart(text: str, known: Chord | None) -> tuple[_Tone, frozenset[int], _Tone | None]:
    """Return root, intervals in semitones, and bass."""
    name = plain_signs(text.strip())
    match = _ROOT.fullmatch(name) if len(name) <= _LONGEST else None
    if not match:
        raise ChordNameError(text, "")
    root, rest = (match[1], ALTERS[match[2]]), match[3]
    if known is not None:
        stacked = {14, 17} if 21 in known.quality.intervals else set()
        return root, frozenset({*known.quality.intervals, *stacked}), known.bass
    bass = None
    if slash := _BASS.fullmatch(rest):
        rest, bass = slash[1], (slash[2], ALTERS[slash[3]])
    if rest in _OF_THE_SCHOOL:
        return root, frozenset(_OF_THE_SCHOOL[rest]), bass
    builder = _Builder()
    if not builder.takes(rest):
        raise ChordNameError(text, "")
    return root, builder.intervals(), bass


@dataclass(slots=True)
class _Builder:
    """Builds a chord from the pieces of its name, from left to right."""

    third: int | None = 4
    fifth: int | None = 7
    seventh: int | None = None
    major: bool = False
    diminished: bool = False
    added: set[int] = field(default_factory=set)
    omitted: set[int] = field(default_factory=set)

    def takes(self, rest: str) -> bool:
        """Read all of a name after its root; return whether it made sense."""
        at = 0
        while at < len(rest):
            for pattern, step in _PIECES if at else _FIRST_PIECES:
                if found := pattern.match(rest, at):
                    if callable(step):
                        step(self, found)
                    else:
                        for name, value in step.items():
                            setattr(self, name, value)
                    at = found.end()
                    break
            else:
                return False
        return True

    def intervals(self) -> frozenset[int]:
        """Return the semitones above the root."""
        stacked = {tone for tone in (0, self.third, self.fifth, self.seventh) if tone is not None}
        return frozenset((stacked | self.added) - self.omitted)

    def half_diminish(self, found: re.Match[str]) -> None:
        self.third, self.fifth, self.seventh = 3, 6, 10
        self.added |= set(_STACKS[int(found[1] or 7)])

    def suspend(self, found: re.Match[str]) -> None:
        self.third = None
        self.added |= {DEGREES[int(digit)] for digit in found[1] or "4"}

    def sixth(self, found: re.Match[str]) -> None:
        self.added |= {9, 14} if found[1] else {9}

    def stack(self, found: re.Match[str]) -> None:
        self.seventh = 11 if self.major or self.seventh == 11 else 9 if self.diminished else 10
        self.added |= set(_STACKS[int(found[1])])

    def add(self, found: re.Match[str]) -> None:
        self.added.add(DEGREES[int(found[2])] + ALTERS[found[1]])

    def omit(self, found: re.Match[str]) -> None:
        degree = int(found[1])
        self.third = None if degree == 3 else self.third
        self.fifth = None if degree == 5 else self.fifth
        self.seventh = None if degree == 7 else self.seventh
        self.omitted.add(DEGREES[degree])

    def alter(self, found: re.Match[str]) -> None:
        step, degree = {"b": -1, "-": -1, "dim": -1, "#": 1, "+": 1}[found[1]], int(found[2])
        if degree == 5:
            self.fifth = 7 + step
        elif degree == 7:
            self.seventh = 10 + step
        else:
            self.added.add(DEGREES[degree] + step)
            self.added.discard(DEGREES[degree])

    def alter_all(self, _found: re.Match[str]) -> None:
        self.seventh, self.fifth = 10, None
        self.added |= {13, 15, 18, 20}


_Step = Callable[[_Builder, "re.Match[str]"], None] | Mapping[str, object]
"""What a piece does to a chord: something of its own, or it sets what is known of the chord."""


def _table(*rows: tuple[str, _Step]) -> tuple[tuple[re.Pattern[str], _Step], ...]:
    return tuple((re.compile(pattern), step) for pattern, step in rows)


_PIECES = _table(
    (r"add(##?|bb?|)(13|11|9|7|6|4|2)", _Builder.add),
    (r"(?:no|omit)(13|11|9|7|5|3)", _Builder.omit),
    (r"(dim|[b#+-])(13|11|9|7|6|5|4)", _Builder.alter),
    (r"(?:maj(?:or)?|Maj|MAJ|ma(?!j)|M|j)(?!\w*in)", {"major": True}),
    (r"[Δ]7?", {"seventh": 11}),
    (r"sus(24|2|4|)", _Builder.suspend),
    (r"7?alt", _Builder.alter_all),
    (r"6(/?9)?", _Builder.sixth),
    (r"(13|11|9|7)", _Builder.stack),
    (r"aug|\+", {"fifth": 8}),
    (r"[(), .]+|dom|/(?=[b#+-]?\d)", {}),
)
"""What may follow, longest first where one begins like another."""

_FIRST_PIECES = (
    *_table(
        (r"(?:minor|min|mi|m(?!aj)|-)", {"third": 3}),
        (r"(?:dim|°|o)(?!5)", {"third": 3, "fifth": 6, "diminished": True}),
        (r"(?:ø|h)(13|11|9|7|)", _Builder.half_diminish),
        (r"aug|\+", {"fifth": 8}),
        (r"5(?![-+])", {"third": None}),
    ),
    *_PIECES,
)
