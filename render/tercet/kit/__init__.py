"""A song's kit: what is asked for, what is there already, and how the rest is made.

The engine that commands and Python share; it prints nothing.
"""

from tercet.kit.song_kit import SongMade, SongOrder

__all__ = ["SongMade", "SongOrder"]
