"""Which dynamic a song file asks of a layer at a place, read apart from Tercet, to hold levels against.

Only what is plain is told: where a hairpin leads the level along, where one has ended without a dynamic, and on an
accent, nothing is said, and gestures there are left out of what is measured.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from tests.measure.audio import Track
from tests.measure.loudness import gesture_levels_lufs
from tests.measure.midi import MidiFile, Roll, rolls_of
from tests.measure.song_text import SongText

__all__ = ["asked_db", "over_marks_db", "struck"]

LEVELS_DB = {"ppp": -16, "pp": -12, "p": -8, "mp": -4, "mf": 0, "f": 4, "ff": 8, "fff": 12}
CHOP_S = 0.05
"""What is shorter is a chop: a stroke on damped strings has no level to keep."""

NEAR_BEAT = Fraction(1, 8)


def asked_db(song: SongText, layer: str, beat: Fraction) -> float | None:
    """Return the level that a layer is marked with at a beat of the piece, in dB around mf; None where it isn't plain.

    A mark without a layer's name is the melody's, and the others keep their distance in the song's `dynamics`.
    """
    base_db = {name: LEVELS_DB[mark] for name, mark in song.dynamics.items()}
    distance_db = base_db[layer] - base_db["melody"]
    level_db: float | None = base_db[layer]
    for at, mark in song.marks:
        if at > beat + NEAR_BEAT:
            break
        name, _, own = mark.rpartition(":")
        if name not in ("", layer):
            continue
        if own in LEVELS_DB:
            level_db = LEVELS_DB[own] + (0 if name else distance_db)
        elif own in ("louder", "softer"):
            level_db = None
        elif own == "accent" and abs(at - beat) <= NEAR_BEAT:
            return None
    return level_db


def struck(midi: MidiFile, layer: str) -> tuple[Roll, ...]:
    """Return the gestures of a layer, chops left out."""
    return tuple(
        roll for roll in rolls_of(midi, layer) if roll.notes[-1].end_s - roll.notes[-1].onset_s > CHOP_S
    )


def over_marks_db(track: Track, midi: MidiFile, song: SongText, layer: str) -> NDArray[np.float64]:
    """Return by how much each gesture of a layer alone lies over its mark, in LU around an unknown mf.

    Parameters
    ----------
    track
        The layer alone.
    midi, song
        When its gestures are struck, and what they are marked with.
    """
    asked = [
        (roll.notes[0].onset_s, level_db)
        for roll in struck(midi, layer)
        for level_db in [asked_db(song, layer, _beat(midi, song, roll.notes[-1].onset_s))]
        if level_db is not None
    ]
    levels = gesture_levels_lufs(track, [onset_s for onset_s, _ in asked])
    return np.asarray(levels - np.array([level_db for _, level_db in asked]))


def _beat(midi: MidiFile, song: SongText, time_s: float) -> Fraction:
    """Return the beat of the piece at a time, after one bar of count-in."""
    quarters = float(np.interp(time_s, [at_s for _, at_s in midi.grid], [place for place, _ in midi.grid]))
    last, last_s = midi.grid[-1]
    if time_s > last_s:
        quarters = last + (time_s - last_s) * midi.tempi[-1][1] / 60.0
    return Fraction(quarters).limit_denominator(96) * song.meter[1] / 4 - song.count_in_beat
