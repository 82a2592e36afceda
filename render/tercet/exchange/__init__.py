"""Other programs' files: MIDI out."""

from tercet.exchange.midi import midi_bytes

__all__ = ["midi_bytes"]
