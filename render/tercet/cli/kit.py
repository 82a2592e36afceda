"""``tercet kit``: all tracks and the MIDI file of one song or more."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from tercet.audio_formats import format_names
from tercet.cli.options import PLAYING, add_options, add_sets, add_workplace, kit_options, read_by
from tercet.cli.progress import listening
from tercet.cli.talk import put, say_event

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "kit"
HELP = "make all tracks and the MIDI file of one song or more"
DESCRIPTION = (
    "Make every track that a class takes home, a MIDI file, and kit.json, which tells what is in each. Each song has a "
    "folder of its own in DIR; where several tunings, players or keys are asked for, each set has one in that. What "
    "is there already and hasn't changed is kept."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("songs", metavar="SONG", nargs="*", help="arrangement files")
    parser.add_argument(
        "-o",
        "--output",
        metavar="DIR",
        help="folder for the kits, made if missing; or an address such as s3://…",
    )
    parser.add_argument(
        "--list", action="store_true", help="explain each track in a sentence, and make nothing"
    )
    parser.add_argument(
        "--tracks",
        type=read_by("names_of"),
        default=(),
        metavar="A,B",
        help="only these tracks, such as demo,echo (default: all)",
    )
    parser.add_argument(
        "--bars",
        type=read_by("bars_of"),
        metavar="BARS",
        default="",
        help="only these bars, as in tercet render",
    )
    parser.add_argument(
        "--speeds",
        type=read_by("speeds_of"),
        default=(),
        metavar="60%,80%",
        help="all tracks at each speed (default 100%%)",
    )
    parser.add_argument(
        "--formats",
        type=read_by("formats_of"),
        default=(),
        metavar="wav,mp3",
        help=f"{', '.join(format_names())} (default wav)",
    )
    add_sets(parser)
    add_workplace(parser)
    add_options(parser, "--verify", "--replace", "--click", "--guide", *PLAYING, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Make the kit of each song."""
    if arguments.list:
        return _list(arguments.songs)
    with listening(arguments) as listener:
        from tercet.kit.kits import make_kit

        options = kit_options(arguments)
        result = make_kit(arguments.songs, arguments.output, options, listener)
    left = any(kit.left and (options.verify or not kit.entries) for kit in result.songs)
    return max((failure.exit_code or 1 for failure in result.failures), default=int(left))


def _list(songs: Sequence[str]) -> int:
    """Explain each track in a sentence, those of the songs' own too; without songs all that a song may have."""
    from tercet.kit.sources import own_recipes_of, sources_of
    from tercet.tracks import RECIPES, SECOND_RECIPES, recipes_of

    sources = [(source, source.read()) for source in sources_of(songs, say_event)] if songs else []
    own = [recipe for source, song in sources for recipe in own_recipes_of(song, source)]
    built_in = recipes_of({layer for _, song in sources for layer in song.layers})
    for recipe in (*(built_in if songs else (*RECIPES, *SECOND_RECIPES)), *dict.fromkeys(own)):
        put(f"{recipe.name:<20} {recipe.purpose}")
    return 0
