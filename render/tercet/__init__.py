"""Tercet: one tune as three layers on four strings (melody, between, strums).

The stages of the pipeline are plain functions, each from one frozen type to the next: `tercet.song.read_song`,
`tercet.arranging.arrange`, `tercet.performing.lay_out` and `perform`, a `tercet.sound.Synthesiser`, `tercet.tracks`.

Importing this package does nothing else: no probing, no files, no heavy libraries.
"""

__all__ = ["__version__"]

__version__ = "0.2.0"
