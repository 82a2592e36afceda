"""Notes and strums one after another, as the sampler plays them, rendered to a file and read again."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile
from numpy.typing import NDArray

from tercet.performing import TakeNote
from tercet.performing.free_strings import with_free_strings
from tercet.sound.sampler import UkuleleSampler
from tercet.theory.tunings import TUNINGS
from tests.measure.bodies import partial_levels_db
from tests.sound.takes import RATE_HZ, note, take

__all__ = ["RATE_HZ", "STRINGS", "Place", "alone", "heard", "on_string", "ringing", "rings_of", "strums"]

APART_S, NOTE_S, HEARD_S, LEAD_S = 3.0, 2.9, 2.8, 0.004
"""From note to note, how long each lasts, how much of it is heard, and how long before it that begins."""


class Place(NamedTuple):
    """A fret on a string of 1 to 4 that is tuned to `open_midi`."""

    string: int
    open_midi: int
    fret: int

    @property
    def hertz(self) -> float:
        return float(440.0 * 2.0 ** ((self.open_midi + self.fret - 69) / 12))


STRINGS = ((1, 69), (2, 64), (3, 60), (4, 67), (4, 55), (1, 64), (2, 59), (3, 55), (4, 50))
"""Each string of high and low G and of a baritone: its number and open key."""


SHAPES = ((0, 0, 0, 3), (2, 0, 1, 0), (0, 2, 1, 2), (2, 0, 0, 0), (0, 2, 3, 2), (2, 2, 2, 0))
"""Frets of chords on `STRINGS` of high G, from string 4 to 1."""

STRINGS_APART_S = (0.006, 0.009, 0.011, 0.014)
STRUM_APART_S = 2.0

STOPPED_FRET = 6
"""No partial of a string stopped here meets another string's octave or twelfth."""


def on_string(onset_s: float, length_s: float, place: Place, level_db: float = 2.0) -> TakeNote:
    one = note(onset_s, length_s, place.open_midi + place.fret, place.string)
    return dataclasses.replace(one, fret=place.fret, beat=Fraction(onset_s), level_db=level_db)


def ringing(notes: Sequence[TakeNote]) -> tuple[TakeNote, ...]:
    """Return notes in order, each with the strings that are free to ring along with it, whatever its instrument."""
    tuning = next(
        tuning
        for tuning in TUNINGS.values()
        if all(tuning.open_midi(each.string) == each.open_midi for each in notes)
    )
    return with_free_strings(sorted(notes, key=lambda each: each.onset_s), tuning)


def heard(path: Path, notes: Sequence[TakeNote], length_s: float) -> NDArray[np.float64]:
    """Render a take to a file and read it again, (frames,)."""
    layer = notes[0].layer
    sound = UkuleleSampler().stems(take(ringing(notes), length_s), [layer])[layer]
    soundfile.write(path, sound, RATE_HZ, "FLOAT")
    return np.asarray(soundfile.read(path)[0][:, 0])


def alone(path: Path, places: Sequence[Place], level_db: float = 2.0) -> NDArray[np.float64]:
    """Return notes one after another, each from its stroke on, (notes, frames)."""
    notes = [on_string(APART_S * (1 + at), NOTE_S, place, level_db) for at, place in enumerate(places)]
    sound = heard(path, notes, APART_S * (len(places) + 1))
    return np.stack(
        [sound[round((each.onset_s - LEAD_S) * RATE_HZ) :][: round(HEARD_S * RATE_HZ)] for each in notes]
    )


def rings_of(path: Path, struck: Place, others: Sequence[Place], *, stopped: bool) -> float:
    """Return how loud the others of four strings ring once a note is damped, at its pitch and against it, in dB.

    Parameters
    ----------
    struck
        The note.
    others
        The other strings, open. All but the first are stopped while it sounds.
    stopped
        Whether the first is, too.
    """
    notes = [on_string(1.0, 0.5, struck)]
    for at, other in enumerate(others):
        length_s = 2.9 if at or stopped else 0.4
        notes.append(on_string(0.0, length_s, other._replace(fret=STOPPED_FRET)))
    sound = heard(path, notes, 3.0)
    hertz = np.array([struck.hertz])
    then, after = (partial_levels_db(sound, RATE_HZ, hertz, at_s, 0.2)[0] for at_s in (1.05, 1.6))
    return float(after - then)


def strums(path: Path, level_db: float, *, up: bool) -> NDArray[np.float64]:
    """Return strums of `SHAPES` in each of `STRINGS_APART_S`, each a second from its first string on, (strums, frames).

    So many, because what two strings have in common adds up or cancels out as their distance has it.
    """
    notes, starts_s = [], []
    for beat, (shape, apart_s) in enumerate(product(SHAPES, STRINGS_APART_S)):
        starts_s.append(STRUM_APART_S * (1 + beat))
        places = [Place(*string, fret) for string, fret in zip(STRINGS[3::-1], shape, strict=True)]
        for at, place in enumerate(places[::-1] if up else places):
            one = on_string(starts_s[-1], 1.5, place, level_db)
            struck_s = one.onset_s + apart_s * at
            strum = dataclasses.replace(one, onset_s=struck_s, beat=Fraction(beat), action="strum", up=up)
            notes.append(dataclasses.replace(strum, layer="strums"))
    sound = heard(path, notes, starts_s[-1] + STRUM_APART_S)
    return np.stack([sound[round(start_s * RATE_HZ) :][:RATE_HZ] for start_s in starts_s])
