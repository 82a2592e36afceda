"""``tercet render``: one track, or a MIDI file, of one song."""

from __future__ import annotations

import argparse

from tercet.cli.options import PLAYING, add_options, add_track, options_of, play_options
from tercet.cli.progress import listening

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "render"
HELP = "make one track of a song: a recording or a MIDI file"
DESCRIPTION = (
    "Make one track of a song. The ending of FILE chooses its kind: .wav .flac .mp3 .ogg .opus for a recording, "
    ".mid for MIDI. Every track of a song gets the same gain, so leaving a layer out changes nothing else."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "song")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    add_track(parser)
    add_options(parser, "--replace", "--click", "--guide", *PLAYING, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Render one file."""
    with listening(arguments) as listener:
        from tercet.kit.one_track import OneTrack, make_track

        track = options_of(OneTrack, arguments, name=arguments.track)
        options = play_options(arguments)
        make_track(arguments.song, arguments.output, track, options, listener, replace=arguments.replace)
    return 0
