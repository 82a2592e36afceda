"""``tercet film``: a film of a song, its music moving with the sound of one of its tracks."""

from __future__ import annotations

import argparse

from tercet.cli.options import PLAYING, add_options, add_track, options_of, play_options
from tercet.cli.progress import listening

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "film"
HELP = "make a film of a song: its music moving with the sound, for a platform that takes films"
DESCRIPTION = (
    "Make a film of one track of a song: two lines of music at a time, with the shapes and what comes next, where each "
    "string is marked as it sounds, large where it is loud and small where it is soft. What is left out of the track "
    "is marked hollow: it is the student's to play. FILE ends in .mp4."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "song")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write, .mp4")
    parser.add_argument(
        "--size", metavar="NAME", default="wide", help="wide (1920 × 1080, default) or square (1080 × 1080)"
    )
    parser.add_argument(
        "--square", dest="size", action="store_const", const="square", help="the same as --size square"
    )
    add_track(parser)
    add_options(parser, "--left-handed", "--replace", "--click", "--guide", *PLAYING, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Make one film."""
    with listening(arguments) as listener:
        from tercet.kit.films import FilmOptions, make_film
        from tercet.kit.one_track import OneTrack

        track = options_of(OneTrack, arguments, name=arguments.track)
        look = options_of(FilmOptions, arguments)
        options = play_options(arguments)
        make_film(arguments.song, arguments.output, track, options, look, listener, replace=arguments.replace)
    return 0
