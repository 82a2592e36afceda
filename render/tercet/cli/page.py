"""``tercet page``: the page on which students practise a song, and the list of a class's songs."""

from __future__ import annotations

import argparse

from tercet.cli.options import PLAYING, add_options, add_sets, options_of, play_options, read_by
from tercet.cli.progress import listening
from tercet.cli.talk import say

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "page"
HELP = "make the page on which students practise, for one song or more"
DESCRIPTION = (
    "Make a page for each song that plays it in any browser: each layer near, far or out, slower, bar by bar, the "
    "music following. Each song gets a folder of its own in DIR, and DIR a list of them. It needs no server and no "
    "internet: open DIR/index.html. Where several tunings, players or keys are asked for, one page has them all, and "
    "each student chooses. With --one-file each song is a single file to send by mail."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "songs")
    parser.add_argument(
        "-o",
        "--output",
        metavar="DIR",
        required=True,
        help="folder for the pages, made if missing; with --one-file also a file that ends in .html",
    )
    parser.add_argument("--one-file", action="store_true", help="each song as one HTML file, up to 8 MB")
    parser.add_argument(
        "--speeds",
        type=read_by("speeds_of"),
        default=(),
        metavar="60%,80%,100%",
        help="speeds to choose from (default 60%%,80%%,100%%; of a sound font with --one-file 100%%)",
    )
    parser.add_argument(
        "--title",
        default="",
        metavar="TEXT",
        help="title of the list of songs (default: the class file's name)",
    )
    parser.add_argument(
        "--no-kit",
        dest="kit",
        action="store_false",
        help="don't make the kit's recordings; a kit that is there is used",
    )
    add_sets(parser)
    add_options(parser, "--left-handed", "--verify", "--replace")
    add_options(parser, *PLAYING, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Make the pages of all songs, then their list."""
    with listening(arguments, say) as listener:
        from tercet.kit.pages import PageOptions, make_pages

        options = options_of(PageOptions, arguments, play=play_options(arguments, players=None))
        result = make_pages(arguments.songs, arguments.output, options, listener)
    if result.list_page is not None and arguments.progress == "bar":
        say(f"open {result.list_page} in any browser: it needs no server and no internet")
    return int(not result.pages or (options.verify and bool(result.left)))
