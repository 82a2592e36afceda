"""Instruments and tunings as tables."""

from __future__ import annotations

from dataclasses import dataclass

from tercet.errors import ParameterError
from tercet.theory import Pitch

__all__ = ["LAST_FRET", "SCALE_LENGTHS_MM", "TUNINGS", "Tuning", "tuning_named", "tuning_of_pitches"]

SCALE_LENGTHS_MM: dict[str, float] = {"soprano": 346.0, "concert": 380.0, "tenor": 430.0, "baritone": 510.0}
"""Length of the sounding string, nut to saddle, of each size."""

LAST_FRET = 15
"""Frets that the arranger may use; most instruments of any size have them, if not easily reached."""


@dataclass(frozen=True, slots=True)
class Tuning:
    """Four open strings.

    Parameters
    ----------
    name
        ``"high-g"`` and so on; ``"custom"`` for one given by pitches.
    open_pitches
        The open strings, string 4 first.
    """

    name: str
    open_pitches: tuple[Pitch, Pitch, Pitch, Pitch]

    def open_midi(self, string: int) -> int:
        """Return the MIDI key number of an open string, 1 to 4."""
        if not 1 <= string <= 4:
            raise ParameterError(f"a string must be 1 to 4 (got {string})")
        return self.open_pitches[4 - string].midi

    def midi(self, string: int, fret: int) -> int:
        """Return the MIDI key number that sounds on a string (1 to 4) at a fret (0 is open)."""
        if fret < 0:
            raise ParameterError(f"a fret must be 0 or more (got {fret})")
        return self.open_midi(string) + fret

    @property
    def reentrant(self) -> bool:
        """Whether string 4 is higher than string 3."""
        return self.open_midi(4) > self.open_midi(3)

    @property
    def lowest_midi(self) -> int:
        """The lowest open string."""
        return min(pitch.midi for pitch in self.open_pitches)

    @property
    def highest_midi(self) -> int:
        """The highest note within reach."""
        return max(pitch.midi for pitch in self.open_pitches) + LAST_FRET


def _tuning(name: str, pitches: str) -> Tuning:
    four, three, two, one = (Pitch.parse(text) for text in pitches.split())
    return Tuning(name, (four, three, two, one))


TUNINGS: dict[str, Tuning] = {
    "high-g": _tuning("high-g", "G4 C4 E4 A4"),
    "low-g": _tuning("low-g", "G3 C4 E4 A4"),
    "baritone": _tuning("baritone", "D3 G3 B3 E4"),
}


def tuning_named(name: str) -> Tuning:
    """Return a tuning from the table; `ParameterError` when there is none of that name."""
    if name not in TUNINGS:
        raise ParameterError(f"a tuning must be one of {', '.join(TUNINGS)}, or four notes (got {name!r})")
    return TUNINGS[name]


def tuning_of_pitches(pitches: tuple[Pitch, ...]) -> Tuning:
    """Return the tuning of four open strings, string 4 first; one from the table keeps its name."""
    if len(pitches) != 4:
        raise ParameterError(f"a tuning must have four notes, string 4 first (got {len(pitches)})")
    for tuning in TUNINGS.values():
        if tuple(pitch.midi for pitch in tuning.open_pitches) == tuple(pitch.midi for pitch in pitches):
            return tuning
    four, three, two, one = pitches
    return Tuning("custom", (four, three, two, one))
