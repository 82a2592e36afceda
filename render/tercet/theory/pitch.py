"""Written pitches: a letter, an accidental and an octave, exactly as on paper.

Octaves are numbered as in scientific pitch notation: A4 sounds at 440 Hz and C4 is middle C; MIDI key
number 60 is C4. An octave number changes between B and C.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Self

from tercet.errors import ParameterError

__all__ = ["ALTERS", "PITCH_CLASSES", "SIGNS", "Pitch", "hz_of_midi"]

PITCH_CLASSES: dict[str, int] = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Semitones of each natural letter above C."""

ALTERS: dict[str, int] = {"": 0, "#": 1, "##": 2, "b": -1, "bb": -2, "♯": 1, "♭": -1}
"""Semitones of each accidental as it may be written."""

SIGNS: dict[int, str] = {0: "", 1: "#", 2: "##", -1: "b", -2: "bb"}
"""Each accidental as Tercet writes it, by its semitones."""

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
