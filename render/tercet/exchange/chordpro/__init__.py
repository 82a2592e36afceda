"""ChordPro 6 in and out, and words with chords on the line above them."""

from tercet.exchange.chordpro.reader import read_chordpro
from tercet.exchange.chordpro.writer import chordpro_bytes

__all__ = ["chordpro_bytes", "read_chordpro"]
