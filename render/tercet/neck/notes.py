"""Which notes lie on a neck: any note, the octave of one that doesn't, and the notes of a key with their steps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tercet.errors import ParameterError
from tercet.theory import LAST_FRET, Key, Pitch, Tuning, spell
from tercet.theory.limits import MOST_SEMITONES
from tercet.theory.pitch import LETTERS, PITCH_CLASSES

__all__ = [
    "FEWEST_FRETS",
    "MOST_FRETS",
    "SCALE_STEPS",
    "NeckNote",
    "degree_of",
    "has_note",
    "in_key",
    "key_notes",
    "moves_onto",
    "neck_note",
    "octaves_onto",
]

FEWEST_FRETS, MOST_FRETS = 3, 18
"""Frets of a neck that is worth drawing."""

SCALE_STEPS = {False: (0, 2, 4, 5, 7, 9, 11), True: (0, 2, 3, 5, 7, 8, 10)}
"""Semitones of the seven steps above the tonic, of a major key and of a minor one (natural minor)."""


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


@dataclass(frozen=True, slots=True)
class NeckNote:
    """A note on the neck.

    Parameters
    ----------
    string
        1 (nearest the floor) to 4.
    fret
        0 for the open string.
    pitch
        As the key spells it.
    degree
        Its step of the key, 1 for the tonic to 7, with # or b where it is raised or lowered: ``#7``.
    """

    string: int
    fret: int
    pitch: Pitch
    degree: str

    @property
    def step(self) -> int:
        """The step's number, 1 to 7."""
        return int(self.degree[-1])


def degree_of(pitch: Pitch, key: Key) -> str:
    """Return the step of a key that a pitch is: its letter counted from the tonic, with # or b as it differs.

    >>> degree_of(Pitch.parse("G#4"), Key("A", 0, True))
    '#7'
    """
    step = (LETTERS.index(pitch.letter) - LETTERS.index(key.letter)) % 7
    plain = key.tonic_class + SCALE_STEPS[key.minor][step]
    differs = (PITCH_CLASSES[pitch.letter] + pitch.alter - plain + 6) % 12 - 6
    return ("#" * differs if differs > 0 else "b" * -differs) + str(step + 1)


def in_key(midi: int, key: Key) -> bool:
    """Whether a MIDI key number is one of the seven steps of a key."""
    return (midi - key.tonic_class) % 12 in SCALE_STEPS[key.minor]


def neck_note(string: int, fret: int, key: Key, tuning: Tuning) -> NeckNote:
    """Return the note of a string (1 to 4) at a fret, spelt as the key spells it."""
    pitch = _spelt(tuning.midi(string, fret), key)
    return NeckNote(string, fret, pitch, degree_of(pitch, key))


def key_notes(key: Key, tuning: Tuning, frets: int) -> tuple[NeckNote, ...]:
    """Return every note of a key from the open strings up to a fret, string 4 first, fret by fret.

    Raises
    ------
    ParameterError
        `frets` isn't `FEWEST_FRETS` to `MOST_FRETS`.
    """
    if not FEWEST_FRETS <= frets <= MOST_FRETS:
        raise ParameterError(f"a neck must have {FEWEST_FRETS} to {MOST_FRETS} frets (got {frets})")
    return tuple(
        neck_note(string, fret, key, tuning)
        for string in (4, 3, 2, 1)
        for fret in range(frets + 1)
        if in_key(tuning.midi(string, fret), key)
    )


def _spelt(midi: int, key: Key) -> Pitch:
    """Return a pitch with the letter that the key's signature gives it, or as `spell` has it where it gives none."""
    steps = SCALE_STEPS[key.minor]
    above = (midi - key.tonic_class) % 12
    if above not in steps:
        return spell(midi, key)
    letter = LETTERS[(LETTERS.index(key.letter) + steps.index(above)) % 7]
    alter = (midi - PITCH_CLASSES[letter] + 6) % 12 - 6
    return Pitch(letter, alter, (midi - alter - PITCH_CLASSES[letter]) // 12 - 1)


def moves_onto(midis: Iterable[int], tuning: Tuning) -> tuple[int, ...]:
    """Return the moves after which every one of some notes is on a string, in semitones, the smallest first.

    Of two that are equally small the one up comes first; none goes beyond `MOST_SEMITONES`.
    """
    written = set(midis)
    moves = sorted(range(-MOST_SEMITONES, MOST_SEMITONES + 1), key=lambda move: (abs(move), -move))
    return tuple(move for move in moves if all(has_note(tuning, midi + move) for midi in written))
