"""Written pitches and keys: a letter, an accidental and an octave, exactly as on paper; and how keys spell notes.

Octaves are numbered as in scientific pitch notation: A4 sounds at 440 Hz and C4 is middle C; MIDI key
number 60 is C4. An octave number changes between B and C.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Self

from tercet.errors import ParameterError

__all__ = [
    "ALTERS",
    "LETTERS",
    "LETTERS_BY_FIFTHS",
    "PITCH_CLASSES",
    "SIGNS",
    "Key",
    "Pitch",
    "fifths_of",
    "hz_of_midi",
    "key_of_signature",
    "parse_key",
    "signature_alters",
    "spell",
    "transpose_key",
]

PITCH_CLASSES: dict[str, int] = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Semitones of each natural letter above C."""

LETTERS = "".join(PITCH_CLASSES)
"""The letters of the notes in order, from C."""

ALTERS: dict[str, int] = {"": 0, "#": 1, "##": 2, "b": -1, "bb": -2, "♯": 1, "♭": -1}
"""Semitones of each accidental as it may be written."""

SIGNS: dict[int, str] = {0: "", 1: "#", 2: "##", -1: "b", -2: "bb"}
"""Each accidental as Tercet writes it, by its semitones."""

LETTERS_BY_FIFTHS = "FCGDAEB"
"""The letters a fifth apart: in this order sharps are added to a key signature, in the other order flats."""

_FIFTHS = {letter: place - 1 for place, letter in enumerate(LETTERS_BY_FIFTHS)}
_KEY_NAME = re.compile(r"([A-G])([#b♯♭]?)\s*((?i:major|minor|maj|min)|m|)")
_WRITTEN = re.compile(r"([A-G])(##|#|bb|b|♯|♭|)(-?\d{1,2})")


@dataclass(frozen=True, slots=True)
class Pitch:
    """A written pitch.

    Parameters
    ----------
    letter
        ``"A"`` to ``"G"``.
    alter
        Semitones that the accidental adds, −2 to 2.
    octave
        Octave number, −1 to 9; C4 is middle C.
    """

    letter: str
    alter: int
    octave: int

    def __post_init__(self) -> None:
        if self.letter not in PITCH_CLASSES:
            raise ParameterError(f"a pitch's letter must be A to G (got {self.letter!r})")
        if not -2 <= self.alter <= 2:
            raise ParameterError(f"a pitch's alteration must be -2 to 2 semitones (got {self.alter})")
        if not 0 <= self.midi <= 127:
            raise ParameterError(f"a pitch must lie within MIDI keys 0 to 127 (got {self})")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read ``"F#4"`` or ``"Bb3"``; `ParameterError` for anything else."""
        match = _WRITTEN.fullmatch(text)
        if not match:
            raise ParameterError(
                f"a pitch must be a letter A to G, #, b or nothing, an octave (got {text!r})"
            )
        letter, accidental, octave = match.groups()
        return cls(letter, ALTERS[accidental], int(octave))

    @property
    def midi(self) -> int:
        """MIDI key number, 60 for C4."""
        return 12 * (self.octave + 1) + PITCH_CLASSES[self.letter] + self.alter

    @property
    def pitch_class(self) -> int:
        """Semitones above C, 0 to 11."""
        return self.midi % 12

    @property
    def name(self) -> str:
        """Letter and accidental without the octave, such as ``"Bb"``."""
        return self.letter + SIGNS[self.alter]

    def __str__(self) -> str:
        return f"{self.name}{self.octave}"


def hz_of_midi(midi: float) -> float:
    """Return the frequency in Hz of a MIDI key number in twelve-tone equal temperament, A4 = 440 Hz.

    ``f = 440 · 2^((midi − 69) / 12)``; fractions of a key are allowed.
    """
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


# ---- keys


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


def key_of_signature(fifths: int, *, minor: bool) -> Key:
    """Return the major or minor key of a signature of so many sharps, or flats below 0.

    >>> str(key_of_signature(2, minor=False)), str(key_of_signature(-7, minor=True))
    ('D major', 'Ab minor')
    """
    place = fifths + (4 if minor else 1)
    return Key(LETTERS_BY_FIFTHS[place % 7], place // 7, minor)


def parse_key(text: str) -> Key:
    """Read ``"A minor"``, ``"Bb major"``, ``"F#m"`` or ``"G"``; `ParameterError` for anything else.

    Keys with more than seven sharps or flats are refused: they have no key signature.
    """
    match = _KEY_NAME.fullmatch(text.strip())
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
