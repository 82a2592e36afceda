"""Pitches, keys, chords, tunings, instruments, dynamics and strum signs: musical knowledge as tables."""

from tercet.theory.chords import Chord, ChordNameError, parse_chord
from tercet.theory.dynamics import DYNAMIC_MARKS, MARK_LEVEL_DB
from tercet.theory.instruments import INSTRUMENTS, Instrument
from tercet.theory.key import Key, parse_key, spell, transpose_key
from tercet.theory.pitch import Pitch, hz_of_midi
from tercet.theory.strum_signs import STRUM_SIGNS, StrumSign
from tercet.theory.tunings import (
    LAST_FRET,
    NEEDED_STRINGS,
    TUNINGS,
    Tuning,
    allowed_open,
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
    "parse_chord",
    "parse_key",
    "spell",
    "transpose_key",
    "tuning_named",
    "tuning_of",
    "tuning_of_pitches",
]
