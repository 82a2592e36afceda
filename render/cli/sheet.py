"""``tercet sheet``: a song on paper."""

from __future__ import annotations

import argparse
from pathlib import Path

from render.cli.options import one_tuning_of, tuned_and_moved
from render.cli.sheet_handout import write_handout
from render.cli.talk import say

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "sheet"
HELP = "put a song on a picture to be photographed from the board"
DESCRIPTION = (
    "Put a song on paper. --handout draws the whole song on one picture, 16:9, with tab, words, chord names and the "
    "shapes used, large enough to be photographed from the board; what is too much goes on in FILE-2.png and so on."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write: .png or .svg")
    parser.add_argument("--handout", action="store_true", required=True, help="on one picture, or a few")
    parser.add_argument("--left-handed", action="store_true", help="mirror the shapes")
    parser.add_argument(
        "--transpose", metavar="N", type=int, default=0, help="semitones up, or down with a minus"
    )
    parser.add_argument("--tuning", metavar="NAME", help="high-g, low-g, baritone, or four notes")


def run(arguments: argparse.Namespace) -> int:
    """Draw one song."""
    from render.arrange import arrange
    from render.publish import picture_maker
    from render.song import read_song

    path = Path(arguments.output)
    picture_maker(path)
    asked = one_tuning_of(arguments.tuning) if arguments.tuning else None
    song, tuning, dropped = tuned_and_moved(read_song(arguments.song), arguments.transpose, asked)
    if dropped:
        say(f"pins are for the song as written and were dropped: {', '.join(dropped)}")
    for written in write_handout(arrange(song, tuning), path, left_handed=arguments.left_handed):
        print(written)
    return 0
