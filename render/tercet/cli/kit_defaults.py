"""What a kit is made of where the command line doesn't say: from the class file beside the songs, and the songs."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from tercet.cli.talk import say
from tercet.errors import RequestError

if TYPE_CHECKING:
    from tercet.song import ClassFile, OwnTrack, Players, Song
    from tercet.theory import Pitch

__all__ = ["KitDefaults", "kit_defaults", "own_tracks_of", "songs_among"]

SPEEDS = (Fraction(1),)
FORMATS = ("wav",)
"""Where neither the command line nor a class file says."""


@dataclass(frozen=True, slots=True)
class KitDefaults:
    """What a kit of a song is made of.

    Parameters
    ----------
    tuning
        As `tercet.cli.options.tunings_of` reads it: names, and notes four by four; None for the song's own.
    players
        Who plays; None for those that the song names.
    speeds
        A set for each.
    formats
        Endings of audio files, without the dot.
    tracks
        Tracks of the song's and of the class's own.
    """

    tuning: tuple[str, ...] | None
    players: tuple[Players, ...] | None
    speeds: tuple[Fraction, ...]
    formats: tuple[str, ...]
    tracks: tuple[OwnTrack, ...]


def kit_defaults(class_file: ClassFile | None, song: Song, arguments: argparse.Namespace) -> KitDefaults:
    """Return what a kit of a song is made of: the command line wins, then the song, then the class.

    A song's own ``tuning`` and ``players`` say for whom it is written, and hold where nobody says for whom the kit is
    made: the class file's ``tunings`` and ``players`` do, as the options of the same names.

    Parameters
    ----------
    class_file
        What lies beside the song, if anything does.
    song
        What the kit is made of.
    arguments
        With `tuning`, `players`, `speeds` and `formats`, each None where it wasn't asked for.
    """
    shared_tuning = [part for tuning in class_file.tunings for part in _parts(tuning)] if class_file else []
    return KitDefaults(
        tuning=arguments.tuning or tuple(shared_tuning) or None,
        players=arguments.players or (class_file and class_file.players) or None,
        speeds=arguments.speeds or (class_file and class_file.speeds) or SPEEDS,
        formats=arguments.formats or (class_file and class_file.formats) or FORMATS,
        tracks=own_tracks_of(song, class_file),
    )


def own_tracks_of(song: Song, class_file: ClassFile | None) -> tuple[OwnTrack, ...]:
    """Return a song's own tracks, then those of the class whose names the song doesn't take."""
    taken = {track.name for track in song.tracks}
    shared = class_file.tracks if class_file else ()
    return (*song.tracks, *(track for track in shared if track.name not in taken))


def _parts(tuning: str | tuple[Pitch, ...]) -> tuple[str, ...]:
    return (tuning,) if isinstance(tuning, str) else tuple(map(str, tuning))


def songs_among(paths: Sequence[str]) -> list[str]:
    """Return the paths that are no class files: a shell's ``songs/*.yaml`` names those too.

    Raises
    ------
    RequestError
        No song is left.
    """
    from tercet.song.class_file import is_class_file

    songs = [path for path in paths if not is_class_file(path)]
    if not songs:
        raise RequestError(f"{paths[0]} is a class file; name the songs too, such as songs/*.yaml")
    for path in paths:
        if path not in songs:
            say(f"{path} is a class file: it holds for the songs beside it")
    return songs
