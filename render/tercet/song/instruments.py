"""What a song file may name: sizes of instrument and tunings.

The arranger keeps its own tables of these (`tercet.neck`), which this package may not import; a test holds that
they agree.
"""

from __future__ import annotations

from tercet.song.model import Song
from tercet.theory import Pitch

__all__ = ["DEFAULT_TUNING_OF", "OPEN_STRINGS", "SCALE_LENGTHS_MM", "open_strings", "sounding_midi"]

SCALE_LENGTHS_MM: dict[str, float] = {"soprano": 346.0, "concert": 380.0, "tenor": 430.0, "baritone": 510.0}

OPEN_STRINGS: dict[str, tuple[Pitch, ...]] = {
    name: tuple(Pitch.parse(note) for note in notes.split())
    for name, notes in (
        ("high-g", "G4 C4 E4 A4"),
        ("low-g", "G3 C4 E4 A4"),
        ("baritone", "D3 G3 B3 E4"),
    )
}
"""Open strings of each tuning that has a name, string 4 first."""

DEFAULT_TUNING_OF: dict[str, str] = {"baritone": "baritone"}
"""Tuning of a size whose strings are usually tuned in another way than high-g."""


def open_strings(song: Song) -> tuple[Pitch, ...]:
    """Return the open strings that the song is written for, string 4 first."""
    return OPEN_STRINGS[song.tuning] if isinstance(song.tuning, str) else song.tuning


def sounding_midi(position: tuple[int, int], strings: tuple[Pitch, ...]) -> int:
    """Return the MIDI key number of a (string, fret) on these open strings."""
    string, fret = position
    return strings[4 - string].midi + fret
