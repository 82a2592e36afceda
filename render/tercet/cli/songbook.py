"""``tercet songbook``: many songs on paper as one book."""

from __future__ import annotations

import argparse

from tercet.cli.options import add_options, add_sets, add_workplace, options_of, play_options
from tercet.cli.progress import listening

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "songbook"
HELP = "bind songs into one book: title page, contents, sheets, shapes, index"
DESCRIPTION = (
    "Bind songs into one PDF, in the order in which they are named: a title page, the contents with links, a sheet for "
    "each tuning, players and key that the class needs, all shapes used, and an index of first lines. A page turns "
    "between lines of music, never within one. With --booklet two pages lie on each side of paper in the order for "
    "folding: print on both sides, turned over at the short edge. A class file beside the songs says for whom they "
    "are, and names the book."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "songs")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write, a .pdf")
    parser.add_argument(
        "--title", default="", metavar="TEXT", help="title of the book (default: the class file's name)"
    )
    parser.add_argument(
        "--class", dest="class_name", default="", metavar="TEXT", help="whose it is, on the title page"
    )
    parser.add_argument("--date", default="", metavar="TEXT", help='when it was made, such as "Autumn 2026"')
    parser.add_argument(
        "--rights",
        default="",
        metavar="TEXT",
        help="who may copy it (default: where each song's licence stands)",
    )
    parser.add_argument(
        "--paper", metavar="NAME", default="A4", help="A4 (default), Letter, A5 or Half-Letter"
    )
    parser.add_argument(
        "--booklet",
        action="store_true",
        help="for folding: two A5 pages on each side of A4, or half-letter pages on Letter",
    )
    parser.add_argument(
        "--facing",
        action="store_true",
        help="songs of two pages on facing pages, for printing on both sides (a booklet always has them so)",
    )
    parser.add_argument("--large", action="store_true", help="larger, tab and words only")
    add_sets(parser)
    add_options(parser, "--left-handed", "--transpose", "--as-written", "--replace")
    add_workplace(parser)
    add_options(parser, "--progress")


def run(arguments: argparse.Namespace) -> int:
    """Bind the songs."""
    with listening(arguments) as listener:
        from tercet.kit.songbook import SongbookOptions, make_songbook

        options = options_of(SongbookOptions, arguments, play=play_options(arguments, players=None))
        make_songbook(arguments.songs, arguments.output, options, listener)
    return 0
