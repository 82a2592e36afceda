"""``tercet hear``: what was heard in a recording of a song, and what to practise next."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import ARRANGING, LAYERS_NAMED, add_options, play_options
from tercet.cli.talk import put, put_json, say, say_event
from tercet.errors import RequestError, TercetError

if TYPE_CHECKING:
    from tercet.arranging import Arrangement
    from tercet.hearing import Heard, HearingOptions

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "hear"
HELP = "hold recordings of students against a song: what went well, what to practise next"
DESCRIPTION = (
    "Hold a recording of a student against the song: one thing that went well, and one to practise next with the "
    "track for it. Any kind of audio file will do, at the student's own tempo, from a phone in a room. Several "
    "recordings make a table for the teacher: who practises which bars. The ending of FILE chooses its kind: .html is "
    "a page with the wanted take above what was heard, .png its picture, .json everything as figures. Nothing is kept "
    "or sent."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "song")
    parser.add_argument("recordings", metavar="RECORDING", nargs="+", help="audio files, one a student")
    parser.add_argument("-o", "--output", metavar="FILE", help="file to write: .html, .png, .svg or .json")
    parser.add_argument(
        "--only",
        **LAYERS_NAMED,
        help="the student plays nothing but this layer; may be repeated",
    )
    parser.add_argument("--json", action="store_true", help="print everything as JSON, for programs")
    add_options(parser, *ARRANGING, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Hear each recording; what can't be heard is told, and the others are heard all the same."""
    from tercet.hearing import HearingOptions
    from tercet.kit.ready import arranged
    from tercet.kit.reports import check_may_report, write_report
    from tercet.kit.sources import source_of

    path = Path(arguments.output) if arguments.output is not None else None
    if path is not None:
        check_may_report(path, len(arguments.recordings), replace=arguments.replace)
    arrangement = arranged(source_of(arguments.song).read(), play_options(arguments), say_event)
    options = HearingOptions(frozenset(arguments.only)) if arguments.only else HearingOptions()
    found: list[Heard] = []
    code = 0
    for name in arguments.recordings:
        try:
            found.append(_heard(name, arrangement, options))
        except TercetError as error:
            if len(arguments.recordings) == 1:
                raise
            say(str(error))
            code = max(code, error.exit_code)
    if not found:
        raise RequestError("none of the recordings could be heard")
    if arguments.json:
        put_json([heard.as_json() for heard in found])
    else:
        _print(found, arguments.song)
    if path is not None:
        write_report(path, found, arguments.song, replace=arguments.replace)
        if not arguments.json:
            put(path)
    return code


def _heard(name: str, arrangement: Arrangement, options: HearingOptions) -> Heard:
    from tercet.hearing import hear, read_recording

    return hear(read_recording(name), arrangement, options)


def _print(found: list[Heard], song: str) -> None:
    for heard in found:
        advice = heard.advice()
        put(f"{heard.name}: {heard.arrangement.song.title}")
        if advice.ask:
            put(f"  {advice.ask}")
            continue
        put(f"  went well: {advice.well}")
        if advice.next is None:
            put("  next: nothing asks for practice; play it for somebody.")
            continue
        put(f"  practise next: {advice.next.sentence}")
        put(f"  with the track {advice.next.track}: {advice.next.command(song)}")
    if len(found) > 1:
        put()
        _print_table(found)


def _print_table(found: list[Heard]) -> None:
    """Print who practises which bars with which track."""
    from tercet.hearing.class_table import class_rows

    rows = [("recording", "bars", "track", "what"), *class_rows(found)]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    for row in rows:
        put("  ".join([*(text.ljust(width) for text, width in zip(row[:3], widths, strict=True)), row[3]]))
