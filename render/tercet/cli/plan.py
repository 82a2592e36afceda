"""``tercet plan``: the weeks of a class, for the teacher."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.options import add_options
from tercet.cli.talk import put, put_json, say_event
from tercet.errors import RequestError

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "plan"
HELP = "plan a term: what is new each week, what to show by ear, hard bars, who plays what"
DESCRIPTION = (
    "Print the plan of a class for the teacher: for each week of its class file the songs in order, what is new in "
    "them (chords, shapes, rolls, strums, rhythms, how high), what to show by ear, the hard bars, who plays what and "
    "the tracks. Without FILE it is printed as text; a .pdf has a page a week. --suggest orders songs from easy to "
    "hard, and says why."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "files",
        metavar="CLASS",
        nargs="+",
        help="class file, or its folder; with --suggest songs, or a folder",
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="file to write: .pdf")
    parser.add_argument("--week", metavar="NUMBER", type=int, help="this week alone, from 1")
    parser.add_argument("--suggest", action="store_true", help="order songs from easy to hard, and say why")
    parser.add_argument("--paper", metavar="NAME", help="A4 (default) or Letter")
    parser.add_argument("--json", action="store_true", help="print everything as JSON, for programs")
    add_options(parser, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Plan a class's weeks, or suggest an order of songs."""
    if arguments.suggest:
        return _suggest(arguments)
    from tercet.kit.plans import check_may_plan, plan_of, write_plan
    from tercet.publish.picture_files import USUAL_PAPER, paper_named
    from tercet.publish.term_plan import as_json, plan_text

    if len(arguments.files) > 1:
        raise RequestError("one class file is planned at a time: name it alone, or its folder")
    path = Path(arguments.output) if arguments.output is not None else None
    paper = paper_named(arguments.paper or USUAL_PAPER)
    if path is not None:
        check_may_plan(path, replace=arguments.replace)
    plan = plan_of(arguments.files[0], say_event)
    if arguments.week is not None:
        plan = plan.only(arguments.week)
    if path is not None:
        write_plan(path, plan, paper, replace=arguments.replace)
        put(path)
    elif arguments.json:
        put_json(as_json(plan))
    else:
        put(plan_text(plan))
    return 0


def _suggest(arguments: argparse.Namespace) -> int:
    """Print songs from easy to hard, and what each brings."""
    from tercet.kit.plans import songs_in, suggested_order
    from tercet.publish.term_plan import new_words

    if arguments.output is not None or arguments.week is not None:
        raise RequestError("--suggest prints an order of songs: leave --output and --week out")
    order = suggested_order(songs_in(arguments.files), say_event)
    if arguments.json:
        put_json([song.as_json() for song in order])
        return 0
    for number, song in enumerate(order, 1):
        put(f"{number}. {song.title} ({song.given})")
        put(f"   {song.ranked.hardness.sentence}")
        for line in new_words(song.ranked.new) or ["nothing that the songs before it don't have"]:
            put(f"   new: {line}")
    return 0
