"""``tercet sheet``: a song on paper."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.options import add_arranging_options, add_replace_option, play_options
from tercet.cli.talk import put, say_event
from tercet.errors import RequestError

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "sheet"
HELP = "put a song on paper: staff, tab and words, or one picture for the board"
DESCRIPTION = (
    "Put a song on paper: what is in front and what is behind, the shapes used, staff and tab with words, every bar "
    "once, and how to practise it. The ending of FILE chooses its kind: .pdf has pages, .svg is one long picture. "
    "--handout draws the whole song on one picture, 16:9 (.png or .svg), with tab, words, chord names and the shapes "
    "used, large enough to be photographed from the board; what doesn't fit on one goes on in FILE-2.png and so on."
)

_ENDINGS = (".pdf", ".svg")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        required=True,
        help="file to write: .pdf or .svg; a handout .png or .svg",
    )
    parser.add_argument("--handout", action="store_true", help="as one picture, or a few")
    parser.add_argument("--large", action="store_true", help="larger, tab and words only")
    parser.add_argument("--paper", metavar="NAME", help="A4 (default) or Letter")
    parser.add_argument("--left-handed", action="store_true", help="mirror the shapes")
    add_arranging_options(parser)
    add_replace_option(parser)


def run(arguments: argparse.Namespace) -> int:
    """Put one song on paper."""
    from tercet.kit.on_paper import make_handout, sheet_bytes
    from tercet.kit.ready import arranged, tell_off_neck
    from tercet.made_files import write_made
    from tercet.publish import picture_maker
    from tercet.song import read_song

    path = Path(arguments.output)
    paper = _paper(arguments)
    if arguments.handout:
        picture_maker(path)
    else:
        _refuse(path, replace=arguments.replace)
    arrangement = arranged(read_song(arguments.song), play_options(arguments), say_event)
    tell_off_neck(arrangement, say_event)
    mirrored, replace = arguments.left_handed, arguments.replace
    if arguments.handout:
        for written in make_handout(arrangement, path, say_event, left_handed=mirrored, replace=replace):
            put(written)
        return 0
    ending = path.suffix.lower()
    data = sheet_bytes(
        arrangement, ending, say_event, paper=paper, large=arguments.large, left_handed=mirrored
    )
    write_made(path, data, maker=NAME, replace=replace)
    put(path)
    return 0


def _paper(arguments: argparse.Namespace) -> str:
    """Return the paper that is asked for.

    Raises
    ------
    RequestError
        It isn't known, or the options don't go together.
    """
    from tercet.publish.picture_files import USUAL_PAPER, paper_named

    if arguments.handout and (arguments.large or arguments.paper):
        raise RequestError("--handout is a picture of its own: leave --large and --paper out")
    return paper_named(arguments.paper or USUAL_PAPER)


def _refuse(path: Path, *, replace: bool) -> None:
    """Refuse a file that can't be written, before any song is read."""
    from tercet.made_files import check_may_make

    ending = path.suffix.lower()
    if ending not in _ENDINGS:
        handout = ", or say --handout for a picture" if ending == ".png" else ""
        raise RequestError(
            f"{path} ends in {ending or 'nothing'}: a sheet's name ends in {' or '.join(_ENDINGS)}, "
            f"such as {path.stem or 'sheet'}.pdf{handout}"
        )
    check_may_make(path, replace=replace)
