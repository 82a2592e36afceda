"""Standard MIDI Files in and out: a song as it is written; a take as it is performed is `tercet.performing.midi`."""

from tercet.exchange.midi.reader import read_midi
from tercet.exchange.midi.writer import plain_midi_bytes

__all__ = ["plain_midi_bytes", "read_midi"]
