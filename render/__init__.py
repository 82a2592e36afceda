"""Tercet: one tune as three layers on four strings (melody, between, strums).

The stages of the pipeline, each a plain function from one frozen type to the next:

>>> from render.song import read_song                                  # doctest: +SKIP
>>> from render.arrange import arrange                                 # doctest: +SKIP
>>> from render.perform import lay_out, perform                        # doctest: +SKIP

Importing this package does nothing else: no probing, no files, no heavy libraries.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
