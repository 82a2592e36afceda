"""Tercet: one tune as three layers on four strings (melody, between, strums).

The stages of the pipeline are plain functions, each from one frozen type to the next: `render.song.read_song`,
`render.arrange.arrange`, `render.perform.lay_out` and `perform`, a `render.sound.Synthesiser`, `render.tracks`.

Importing this package does nothing else: no probing, no files, no heavy libraries.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
