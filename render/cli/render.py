"""``tercet render``: one track, or a MIDI file, of one song."""

from __future__ import annotations

import argparse
from pathlib import Path

from render.cli.options import add_performance_options, layer, players, speed
from render.cli.playing import played_song, show_notices, show_problems
from render.cli.talk import progress, say
from render.errors import RequestError

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "render"
HELP = "make one track of a song: a recording or a MIDI file"
DESCRIPTION = (
    "Make one track of a song. The ending of FILE chooses its kind: .wav .flac .mp3 .ogg .opus for a recording, "
    ".mid for MIDI. Every track of a song gets the same gain, so leaving a layer out changes nothing else."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    parser.add_argument(
        "--without",
        metavar="LAYER",
        type=layer,
        action="append",
        default=[],
        help="leave out melody, between or strums",
    )
    parser.add_argument(
        "--only",
        metavar="LAYER",
        type=layer,
        action="append",
        default=[],
        help="nothing but this layer; may be repeated",
    )
    parser.add_argument(
        "--track", metavar="NAME", help="a track by name: demo, without-melody, only-strums, …"
    )
    parser.add_argument(
        "--speed", type=speed, default="100%", metavar="PERCENT", help="70%% is slower, 25%% to 200%%"
    )
    parser.add_argument(
        "--bars",
        metavar="BARS",
        help="5-8 as played, or verse:3-4 of a section, or verse@2:3-4 on its second pass",
    )
    parser.add_argument(
        "--tuning",
        metavar="NAME",
        help="high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first)",
    )
    parser.add_argument(
        "--players", type=players, metavar="NAME", help="who plays: beginner, improving or free"
    )
    parser.add_argument(
        "--flat", action="store_true", help="every note equally loud, to hear what front and back are for"
    )
    add_performance_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Render one file."""
    from render.tracks import choose_layers, recipe_named
    from render.tracks.encoding import FORMATS
    from render.tracks.files import may_replace

    if arguments.track and (arguments.without or arguments.only):
        raise RequestError("--track already chooses the layers: leave --without and --only away, or --track")
    recipe = (
        recipe_named(arguments.track)
        if arguments.track
        else choose_layers(tuple(arguments.without), tuple(arguments.only))
    )
    path = Path(arguments.output)
    may_replace(path)
    midi = path.suffix.lower() in (".mid", ".midi")
    if not midi and path.suffix.lower() not in FORMATS:
        known = " ".join([*FORMATS, ".mid"])
        raise RequestError(
            f"{path} ends in {path.suffix or 'nothing'}: the endings that Tercet can make are {known}"
        )
    with progress(path.name) as report:
        report("reading", 0, 3)
        playing, timeline = played_song(arguments, arguments.speed, arguments.bars)
        show_problems(playing.arrangement)
        report("playing", 1, 3)
        if midi:
            from render.exchange import midi_bytes
            from render.tracks.files import write_bytes

            write_bytes(path, midi_bytes(playing.arrangement, playing.take(timeline), recipe.layers))
        else:
            from render.tracks.kit import TrackFile, write_tracks

            stems = playing.stems(timeline)
            report("writing", 2, 3)
            write_tracks([TrackFile(path, recipe, arguments.speed)], stems, playing, bits=arguments.bits)
            show_notices(playing)
    print(path)
    say(f"{path.name}: {recipe.name}, {recipe.purpose}")
    return 0
