"""Which notes lie on a neck at all, and the octave in which one that doesn't has a place."""

from __future__ import annotations

from tercet.theory import LAST_FRET, Tuning

__all__ = ["has_note", "octaves_onto"]


def has_note(tuning: Tuning, midi: int) -> bool:
    """Whether some string has a MIDI key number, open or up to `LAST_FRET`."""
    return any(0 <= midi - pitch.midi <= LAST_FRET for pitch in tuning.open_pitches)


def octaves_onto(tuning: Tuning, midi: int) -> int:
    """Return by how many octaves a note is played higher (or lower, with a minus) so that some string has it.

    0 where it has a place as it is; else the nearest octave, the higher of two equally near. A string has sixteen
    notes, so there always is one.

    Examples
    --------
    >>> from tercet.theory import tuning_named
    >>> [octaves_onto(tuning_named("high-g"), midi) for midi in (60, 57, 46, 86)]
    [0, 1, 2, -1]
    """
    octaves = 0
    while not has_note(tuning, midi + 12 * octaves):
        octaves = -octaves if octaves > 0 else 1 - octaves
    return octaves
