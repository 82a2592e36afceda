"""Other programs' files: MIDI out."""

from tercet.performing.midi import midi_bytes

__all__ = ["midi_bytes"]
