"""Pitches, keys, chords, tunings, instruments, dynamics and strum signs: musical knowledge as tables."""

from tercet.theory.chords import Chord, ChordNameError, parse_chord
from tercet.theory.limits import LAST_FRET
from tercet.theory.pitch import Key, Pitch, hz_of_midi, parse_key, spell, transpose_key
from tercet.theory.signs import DYNAMIC_MARKS, MARK_LEVEL_DB, STRUM_SIGNS, StrumSign
from tercet.theory.tunings import (
    INSTRUMENTS,
    NEEDED_STRINGS,
    TUNINGS,
    Instrument,
    Tuning,
    allowed_open,
    meant_tunings,
    tuning_named,
    tuning_of,
    tuning_of_pitches,
)

__all__ = [
    "DYNAMIC_MARKS",
    "INSTRUMENTS",
    "LAST_FRET",
    "MARK_LEVEL_DB",
    "NEEDED_STRINGS",
    "STRUM_SIGNS",
    "TUNINGS",
    "Chord",
    "ChordNameError",
    "Instrument",
    "Key",
    "Pitch",
    "StrumSign",
    "Tuning",
    "allowed_open",
    "hz_of_midi",
    "meant_tunings",
    "parse_chord",
    "parse_key",
    "spell",
    "transpose_key",
    "tuning_named",
    "tuning_of",
    "tuning_of_pitches",
]
