"""Chord symbols in pieces (root, kind, degrees, bass), and the chord of ours that sounds like them."""

from __future__ import annotations

from collections.abc import Iterable

from tercet.theory import Chord
from tercet.theory.chords import QUALITIES, Quality
from tercet.theory.pitch import PITCH_CLASSES

__all__ = ["KINDS", "kind_of", "nearest_chord", "nearest_quality", "plain_tone"]

_PLAIN = {pitch_class: (letter, 0) for letter, pitch_class in PITCH_CLASSES.items()}
_PLAIN |= {1: ("D", -1), 3: ("E", -1), 6: ("F", 1), 8: ("A", -1), 10: ("B", -1)}
"""How a tone with two sharps or flats is written with at most one."""

KINDS: dict[str, tuple[int, ...]] = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "augmented": (0, 4, 8),
    "diminished": (0, 3, 6),
    "dominant": (0, 4, 7, 10),
    "major-seventh": (0, 4, 7, 11),
    "minor-seventh": (0, 3, 7, 10),
    "diminished-seventh": (0, 3, 6, 9),
    "augmented-seventh": (0, 4, 8, 10),
    "half-diminished": (0, 3, 6, 10),
    "major-minor": (0, 3, 7, 11),
    "major-sixth": (0, 4, 7, 9),
    "minor-sixth": (0, 3, 7, 9),
    "dominant-ninth": (0, 4, 7, 10, 14),
    "major-ninth": (0, 4, 7, 11, 14),
    "minor-ninth": (0, 3, 7, 10, 14),
    "dominant-11th": (0, 4, 7, 10, 14, 17),
    "major-11th": (0, 4, 7, 11, 14, 17),
    "minor-11th": (0, 3, 7, 10, 14, 17),
    "dominant-13th": (0, 4, 7, 10, 14, 21),
    "major-13th": (0, 4, 7, 11, 14, 21),
    "minor-13th": (0, 3, 7, 10, 14, 21),
    "suspended-second": (0, 2, 7),
    "suspended-fourth": (0, 5, 7),
    "power": (0, 7),
}
"""Semitones above the root for the kinds of MusicXML 4.0 (its type `kind-value`); the eleventh of a thirteenth is
left out, as players do."""

_DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 12, 9: 14, 10: 16, 11: 17, 12: 19, 13: 21}
"""Semitones of a degree above the root, the seventh being minor, as MusicXML counts what is added."""

_KIND_OF: dict[tuple[int, ...], str] = {intervals: kind for kind, intervals in KINDS.items()}
_ALTERED: dict[str, tuple[str, tuple[tuple[str, int, int], ...]]] = {
    "6/9": ("major-sixth", (("add", 9, 0),)),
    "add9": ("major", (("add", 9, 0),)),
    "madd9": ("minor", (("add", 9, 0),)),
    "7sus4": ("suspended-fourth", (("add", 7, 0),)),
    "9sus4": ("suspended-fourth", (("add", 7, 0), ("add", 9, 0))),
    "7b5": ("dominant", (("alter", 5, -1),)),
    "7b9": ("dominant", (("add", 9, -1),)),
    "7#9": ("dominant", (("add", 9, 1),)),
}
"""Kind and degrees (what is done, which, semitones) of the qualities that no single kind names."""


def kind_of(quality: Quality) -> tuple[str, tuple[tuple[str, int, int], ...]]:
    """Return the kind of MusicXML for a quality, and its degrees as (add or alter, degree, semitones)."""
    if quality.name in _ALTERED:
        return _ALTERED[quality.name]
    return _KIND_OF[quality.intervals], ()


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
        One of `KINDS`.
    degrees
        (``"add"``, ``"alter"`` or ``"subtract"``, degree, semitones).
    """
    quality, exact = nearest_quality(_sounding(KINDS[kind], degrees))
    return Chord(root[0], root[1], quality, bass), exact


def nearest_quality(wanted: set[int]) -> tuple[Quality, bool]:
    """Return the quality nearest to a set of semitones above a root, each below 12, and whether it is the same.

    An eleventh beside a thirteenth and a third isn't missed: players leave it out.
    """
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
    sounding = {interval % 12 for interval in intervals}
    for action, degree, alter in degrees:
        plain = _DEGREES.get(degree, 0)
        if action in ("alter", "subtract"):
            sounding -= {tone % 12 for tone in _found_as(degree, intervals)}
        if action in ("add", "alter"):
            sounding.add((plain + alter) % 12)
    return sounding


def _found_as(degree: int, intervals: tuple[int, ...]) -> list[int]:
    """Return the intervals of a kind that are its third, fifth, seventh and so on."""
    plain = _DEGREES.get(degree, 0)
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
