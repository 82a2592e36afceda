"""Keys: a tonic, major or minor, and how the notes of the key are spelt."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tercet.errors import ParameterError
from tercet.theory.pitch import ALTERS, PITCH_CLASSES, SIGNS, Pitch

__all__ = ["LETTERS_BY_FIFTHS", "Key", "fifths_of", "parse_key", "signature_alters", "spell", "transpose_key"]

LETTERS_BY_FIFTHS = "FCGDAEB"
"""The letters a fifth apart: in this order sharps are added to a key signature, in the other order flats."""

_FIFTHS = {letter: place - 1 for place, letter in enumerate(LETTERS_BY_FIFTHS)}
_NAME = re.compile(r"([A-G])([#b♯♭]?)\s*((?i:major|minor|maj|min)|m|)")


@dataclass(frozen=True, slots=True)
class Key:
    """A key.

    Parameters
    ----------
    letter, alter
        The tonic: a letter A to G and −1, 0 or 1 semitones.
    minor
        Whether the key is minor.
    """

    letter: str
    alter: int
    minor: bool

    @property
    def fifths(self) -> int:
        """Sharps (positive) or flats (negative) of the key signature, −7 to 7."""
        return fifths_of(self.letter, self.alter) - (3 if self.minor else 0)

    @property
    def tonic(self) -> str:
        """Name of the tonic, such as ``"Bb"``."""
        return self.letter + SIGNS[self.alter]

    @property
    def short_name(self) -> str:
        """Name as music programs write it: ``"Bb"``, ``"F#m"``."""
        return f"{self.tonic}{'m' if self.minor else ''}"

    @property
    def tonic_class(self) -> int:
        """Pitch class of the tonic, 0 to 11."""
        return (PITCH_CLASSES[self.letter] + self.alter) % 12

    def __str__(self) -> str:
        return f"{self.tonic} {'minor' if self.minor else 'major'}"


def fifths_of(letter: str, alter: int) -> int:
    """Return how many fifths a note lies above C."""
    return _FIFTHS[letter] + 7 * alter


def signature_alters(fifths: int) -> dict[str, int]:
    """Return which letters a key signature raises (1) or lowers (−1).

    >>> signature_alters(2), signature_alters(-2)
    ({'F': 1, 'C': 1}, {'E': -1, 'B': -1})
    """
    if fifths >= 0:
        return dict.fromkeys(LETTERS_BY_FIFTHS[:fifths], 1)
    return dict.fromkeys(LETTERS_BY_FIFTHS[fifths:], -1)


def parse_key(text: str) -> Key:
    """Read ``"A minor"``, ``"Bb major"``, ``"F#m"`` or ``"G"``; `ParameterError` for anything else.

    Keys with more than seven sharps or flats are refused: they have no key signature.
    """
    match = _NAME.fullmatch(text.strip())
    if not match:
        raise ParameterError(f"a key must be a note and major or minor, such as A minor (got {text!r})")
    key = Key(match[1], ALTERS[match[2]], match[3].lower() in ("minor", "min", "m"))
    if not -7 <= key.fifths <= 7:
        raise ParameterError(f"a key must have at most seven sharps or flats ({key} has {abs(key.fifths)})")
    return key


def spell(midi: int, key: Key) -> Pitch:
    """Return the pitch of a MIDI key number, spelt as the key spells it.

    Of all spellings with at most one accidental, the one nearest to the key's centre on the line of fifths
    is taken (Temperley, "The Line of Fifths", 2000); ties go to the sharp.
    """
    centre = key.fifths + (3 if key.minor else 2)
    spellings = [
        Pitch(letter, alter, (midi - alter - pc) // 12 - 1)
        for letter, pc in PITCH_CLASSES.items()
        for alter in (-1, 0, 1)
        if (pc + alter) % 12 == midi % 12
    ]
    return min(
        spellings,
        key=lambda pitch: (abs(fifths_of(pitch.letter, pitch.alter) - centre), -pitch.alter),
    )


def transpose_key(key: Key, semitones: int) -> Key:
    """Return the key that many semitones higher, spelt with the fewest sharps or flats (ties: flats)."""
    wanted = (key.tonic_class + semitones) % 12
    options = [Key(letter, alter, key.minor) for letter in PITCH_CLASSES for alter in (-1, 0, 1)]
    fitting = [option for option in options if option.tonic_class == wanted]
    return min(fitting, key=lambda option: (abs(option.fifths), option.fifths))
