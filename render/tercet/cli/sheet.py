"""``tercet sheet``: a song on paper."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.options import ARRANGING, add_options, play_options
from tercet.cli.talk import put, say_event
from tercet.errors import RequestError

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "sheet"
HELP = "put a song on paper: staff, tab and words, or one picture for the board"
DESCRIPTION = (
    "Put a song on paper: what is in front and what is behind, the shapes used, staff and tab with words, every bar "
    "once, and how to practise it. --words has the words with chords above them instead, the shapes and a strum, for "
    "those who sing and strum. The ending of FILE chooses its kind: .pdf has pages, .svg is one long picture. "
    "--handout draws the whole song on one picture, 16:9 (.png or .svg), with tab, words, chord names and the shapes "
    "used, large enough to be photographed from the board; what doesn't fit on one goes on in FILE-2.png and so on."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "song")
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        required=True,
        help="file to write: .pdf or .svg; a handout .png or .svg",
    )
    parser.add_argument("--handout", action="store_true", help="as one picture, or a few")
    parser.add_argument(
        "--second-voice", action="store_true", help="the second voice's own part, for its half of the class"
    )
    parser.add_argument(
        "--words", action="store_true", help="words with chords above them, for those who sing and strum"
    )
    parser.add_argument("--large", action="store_true", help="larger, tab and words only")
    parser.add_argument("--paper", metavar="NAME", help="A4 (default), Letter, A5 or Half-Letter")
    add_options(parser, "--left-handed", *ARRANGING, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Put one song on paper."""
    from tercet.arranging import second_part
    from tercet.front_door import check_may_print, handout, sheet
    from tercet.kit.ready import arranged, tell_off_neck
    from tercet.kit.sources import source_of
    from tercet.publish import picture_maker

    path = Path(arguments.output)
    paper = _paper(arguments)
    mirrored, replace = arguments.left_handed, arguments.replace
    if arguments.handout:
        picture_maker(path)
    else:
        check_may_print(path, replace=replace)
    arrangement = arranged(source_of(arguments.song).read(), play_options(arguments), say_event)
    tell_off_neck(arrangement, say_event)
    if arguments.second_voice:
        arrangement = second_part(arrangement)
    if arguments.handout:
        for written in handout(arrangement, path, say_event, left_handed=mirrored, replace=replace):
            put(written)
        return 0
    printed = sheet(
        arrangement, paper=paper, large=arguments.large, left_handed=mirrored, words=arguments.words
    )
    put(printed.write(path, say_event, replace=replace))
    return 0


def _paper(arguments: argparse.Namespace) -> str:
    """Return the paper that is asked for.

    Raises
    ------
    RequestError
        It isn't known, or the options don't go together.
    """
    from tercet.publish.picture_files import USUAL_PAPER, paper_named

    if arguments.handout and (arguments.large or arguments.paper or arguments.words):
        raise RequestError("--handout is a picture of its own: leave --large, --paper and --words out")
    if arguments.words and arguments.second_voice:
        raise RequestError("--words has no voices: leave --second-voice out")
    return paper_named(arguments.paper or USUAL_PAPER)
