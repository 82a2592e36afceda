"""The chords of a key: by degree, and what speaks against each."""

from __future__ import annotations

from tercet.theory.chords import Chord, parse_chord
from tercet.theory.pitch import SIGNS, Key, spell

__all__ = ["DOMINANT", "KEY_CHORDS", "chord_on", "chords_of"]

_MAJOR = {
    (0, ""): 0.0, (5, ""): 0.1, (7, ""): 0.1, (9, "m"): 0.4, (2, "m"): 0.5, (4, "m"): 0.9, (10, ""): 0.9,
}  # fmt: skip
_MINOR = {
    (0, "m"): 0.0, (7, ""): 0.1, (5, "m"): 0.2, (10, ""): 0.35, (3, ""): 0.35, (8, ""): 0.5, (7, "m"): 0.6,
    (5, ""): 0.9,
}  # fmt: skip

KEY_CHORDS = {False: _MAJOR, True: _MINOR}
"""Chords of a major key, and of a minor one (True), as semitones above its tonic and quality, and what speaks against
half a measure of each.

The unit of all costs is a quarter of the tune outside its chord. The lowered seventh in major and the major fourth in
minor are there for tunes in the church modes next to both.
"""

DOMINANT = 7
"""Semitones above the tonic."""


def chord_on(key: Key, degree: int, quality: str) -> Chord:
    """Return a chord so many semitones above the tonic, spelt in the key.

    >>> from tercet.theory import parse_key
    >>> str(chord_on(parse_key("Eb major"), 7, "7"))
    'Bb7'
    """
    root = spell(60 + (key.tonic_class + degree) % 12, key)
    return parse_chord(f"{root.letter}{SIGNS[max(min(root.alter, 1), -1)]}{quality}")


def chords_of(key: Key) -> tuple[Chord, ...]:
    """Return the chords that songs in a key use, the nearest to home first; the dominant with its seventh too.

    >>> from tercet.theory import parse_key
    >>> [str(chord) for chord in chords_of(parse_key("C major"))]
    ['C', 'F', 'G', 'G7', 'Am', 'Dm', 'Em', 'Bb']
    """
    found = []
    for degree, quality in sorted(KEY_CHORDS[key.minor], key=KEY_CHORDS[key.minor].__getitem__):
        found.append(chord_on(key, degree, quality))
        if (degree, quality) == (DOMINANT, ""):
            found.append(chord_on(key, degree, "7"))
    return tuple(found)
