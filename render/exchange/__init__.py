"""Other programs' files: MIDI out."""

from render.exchange.midi import midi_bytes

__all__ = ["midi_bytes"]
