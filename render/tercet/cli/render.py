"""``tercet render``: one track, or a MIDI file, of one song."""

from __future__ import annotations

import argparse

from tercet.cli.options import PLAYING, add_options, options_of, play_options, read_by
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
    parser.add_argument(
        "--without",
        metavar="LAYER",
        type=read_by("layer_of"),
        action="append",
        default=[],
        help="leave out melody, second, between or strums",
    )
    parser.add_argument(
        "--only",
        metavar="LAYER",
        type=read_by("layer_of"),
        action="append",
        default=[],
        help="nothing but this layer; may be repeated",
    )
    parser.add_argument(
        "--track",
        metavar="NAME",
        default="",
        help="a track by name: demo, echo, without-melody, … (tercet kit --list)",
    )
    parser.add_argument(
        "--speed",
        type=read_by("speed_of"),
        default="100%",
        metavar="PERCENT",
        help="70%% is slower, 25%% to 200%%",
    )
    parser.add_argument(
        "--bars",
        type=read_by("bars_of"),
        metavar="BARS",
        default="",
        help="5-8 as played, or verse:3-4 of a section, or verse@2:3-4 on its second pass",
    )
    add_options(parser, "--tuning", "--players")
    parser.add_argument(
        "--flat", action="store_true", help="every note equally loud, to hear what front and back are for"
    )
    add_options(parser, "--replace", "--click", "--guide", *PLAYING, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Render one file."""
    with listening(arguments) as listener:
        from tercet.kit.one_track import OneTrack, make_track

        track = options_of(OneTrack, arguments, name=arguments.track)
        options = play_options(arguments)
        make_track(arguments.song, arguments.output, track, options, listener, replace=arguments.replace)
    return 0
