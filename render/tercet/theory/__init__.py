"""Pitches, keys and chords: musical knowledge as tables."""

from tercet.theory.chords import Chord, ChordNameError, parse_chord
from tercet.theory.key import Key, parse_key, spell, transpose_key
from tercet.theory.pitch import Pitch, hz_of_midi

__all__ = [
    "Chord",
    "ChordNameError",
    "Key",
    "Pitch",
    "hz_of_midi",
    "parse_chord",
    "parse_key",
    "spell",
    "transpose_key",
]
