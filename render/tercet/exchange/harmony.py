"""Chord symbols in pieces (root, kind, degrees, bass), and the chord of ours that sounds like them."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Literal

from tercet.theory import Chord
from tercet.theory.chords import DEGREES, MUSICXML_KINDS, QUALITIES, Quality
from tercet.theory.pitch import PITCH_CLASSES

__all__ = ["kind_of", "nearest_chord", "nearest_quality", "plain_tone"]

_PLAIN = {pitch_class: (letter, 0) for letter, pitch_class in PITCH_CLASSES.items()}
_PLAIN |= {1: ("D", -1), 3: ("E", -1), 6: ("F", 1), 8: ("A", -1), 10: ("B", -1)}
"""How a tone with two sharps or flats is written with at most one."""

_DEGREE_OF = {0: 1, 2: 2, 3: 3, 4: 3, 5: 4, 6: 5, 7: 5, 8: 5, 9: 6, 10: 7, 11: 7, 12: 8}
_DEGREE_OF |= {13: 9, 14: 9, 15: 9, 16: 10, 17: 11, 18: 11, 19: 12, 20: 13, 21: 13, 22: 13}
"""Which degree of a chord so many semitones above the root are, where nothing else says so."""

Degree = tuple[Literal["add", "alter", "subtract"], int, int]
"""What is done, which degree, and by how many semitones."""

_WEIGHTS = {"add": 1, "alter": 2, "subtract": 3}
"""How much less plain a symbol becomes by each degree: of all that say the same, the plainest is written."""


@cache
def kind_of(quality: Quality) -> tuple[str, tuple[Degree, ...]]:
    """Return the kind of MusicXML for a quality, and the degrees that make up the difference.

    >>> kind_of(next(quality for quality in QUALITIES if quality.name == "7b9"))
    ('dominant', (('add', 9, -1),))
    """
    symbols = ((kind, _degrees(intervals, quality.intervals)) for kind, intervals in MUSICXML_KINDS.items())
    return min(symbols, key=lambda symbol: sum(_WEIGHTS[done] for done, _, _ in symbol[1]))


def _degrees(kind: tuple[int, ...], wanted: tuple[int, ...]) -> tuple[Degree, ...]:
    """Return what turns the intervals of a kind into those that are wanted."""
    missing = {_DEGREE_OF[each]: each for each in kind if each not in wanted}
    degrees: list[Degree] = []
    for interval in wanted:
        degree = _DEGREE_OF[interval]
        if interval in kind:
            continue
        if degree in missing:
            degrees.append(("alter", degree, interval - missing.pop(degree)))
        else:
            degrees.append(("add", degree, interval - DEGREES[degree]))
    return (*degrees, *(("subtract", degree, 0) for degree in missing))


def nearest_chord(
    root: tuple[str, int],
    kind: str,
    degrees: Iterable[tuple[str, int, int]] = (),
    bass: tuple[str, int] | None = None,
) -> tuple[Chord, bool]:
    """Return the chord of ours for a symbol, and whether it has exactly the same notes.

    Parameters
    ----------
    root, bass
        Letter and −1, 0 or 1 semitones.
    kind
        One of `MUSICXML_KINDS`.
    degrees
        (``"add"``, ``"alter"`` or ``"subtract"``, degree, semitones).
    """
    quality, exact = nearest_quality(_sounding(MUSICXML_KINDS[kind], degrees))
    return Chord(root[0], root[1], quality, bass), exact


def nearest_quality(wanted: set[int]) -> tuple[Quality, bool]:
    """Return the quality nearest to a set of semitones above a root, each below 12, and whether it is the same.

    An eleventh beside a thirteenth and a third isn't missed: players leave it out.
    """
    exact = next((each for each in QUALITIES if wanted == {tone % 12 for tone in each.intervals}), None)
    if exact is not None:
        return exact, True
    played = wanted - {5} if {5, 9, 10} <= wanted and wanted & {3, 4} else wanted
    quality = min(QUALITIES, key=lambda each: _distance(played, each))
    return quality, played == {interval % 12 for interval in quality.intervals}


def plain_tone(letter: str, alter: int) -> tuple[tuple[str, int], int]:
    """Return a tone as letter and at most one sign, and its pitch class.

    >>> plain_tone("A", -2)
    (('G', 0), 7)
    """
    pitch_class = (PITCH_CLASSES[letter] + alter) % 12
    return ((letter, alter) if abs(alter) < 2 else _PLAIN[pitch_class]), pitch_class


def _sounding(intervals: tuple[int, ...], degrees: Iterable[tuple[str, int, int]]) -> set[int]:
    """Return the semitones above the root, within an octave, of a kind with its degrees."""
    kept, added = {interval % 12 for interval in intervals}, set()
    for action, degree, alter in degrees:
        plain = DEGREES.get(degree, 0)
        if action in ("alter", "subtract"):
            found = _found_as(degree, intervals)
            kept -= {tone % 12 for tone in found}
            plain = next((tone for tone in found if _DEGREE_OF[tone] == degree), plain)
        if action in ("add", "alter"):
            added.add((plain + alter) % 12)
    return kept | added


def _found_as(degree: int, intervals: tuple[int, ...]) -> list[int]:
    """Return the intervals of a kind that are its third, fifth, seventh and so on."""
    plain = DEGREES.get(degree, 0)
    return [interval for interval in intervals if abs(interval - plain) <= 1]


def _distance(wanted: set[int], quality: Quality) -> tuple[int, int]:
    """Return how far a quality is from what is wanted: a strange tone counts most, then one that gives the sound.

    Beside a major third a minor one is a raised ninth, so the chord stays major.
    """
    ours = {interval % 12 for interval in quality.intervals}
    missing, added = wanted - ours, ours - wanted
    telling = len(missing & {3, 4, 10, 11, 6, 8})
    turned_minor = 4 if {3, 4} <= wanted and 4 not in ours else 0
    return 2 * len(added) + len(missing) + telling + turned_minor, len(quality.intervals)
