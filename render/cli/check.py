"""``tercet check``: what is wrong with a song, and what its players should know."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from render.cli.talk import say
from render.errors import SongError, TercetError

if TYPE_CHECKING:
    from render.arrange import Arrangement

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "check"
HELP = "find mistakes in songs and say what the players should know"
DESCRIPTION = (
    "Read songs and report every mistake with its place and its mend; then what the hands can't do as written. "
    "Exit code 1 when a file has mistakes or a note can't be played."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("songs", metavar="SONG", nargs="+", help="arrangement files")
    parser.add_argument("--json", action="store_true", help="print the report as JSON, for programs")


def run(arguments: argparse.Namespace) -> int:
    """Check each song; the exit code is the worst of all."""
    reports = [_report(path, show=not arguments.json) for path in arguments.songs]
    if arguments.json:
        json.dump([report for report, _ in reports], sys.stdout, indent=2, ensure_ascii=False)
        print()
    return max(code for _, code in reports)


def _report(path: str, *, show: bool) -> tuple[dict[str, Any], int]:
    """Return what there is to say about one song, and its exit code; print it too where wanted."""
    from render.arrange import arrange
    from render.song import read_song

    try:
        arrangement = arrange(read_song(path))
    except SongError as error:
        if show:
            say(str(error))
        mistakes = [
            {"line": m.line, "column": m.column, "row": m.row, "message": m.message, "mend": m.mend}
            for m in error.mistakes
        ]
        return {"file": path, "mistakes": mistakes}, error.exit_code
    except TercetError as error:
        if show:
            say(str(error))
        return {"file": path, "error": str(error)}, error.exit_code
    if show:
        _print(path, arrangement)
    unplayable = any(problem.unplayable for problem in arrangement.problems)
    return {"file": path, "mistakes": [], **_summary(arrangement)}, int(unplayable)


def _summary(arrangement: Arrangement) -> dict[str, Any]:
    song = arrangement.song
    gestures = arrangement.gestures
    return {
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tuning": arrangement.tuning.name,
        "form": [visit.section for visit in song.form],
        "bars": len(arrangement.bars),
        "rolls": sum(gesture.action == "roll" for gesture in gestures),
        "single_notes": sum(gesture.action == "single" for gesture in gestures),
        "strums": sum(gesture.layer == "strums" for gesture in gestures),
        "problems": [
            {
                "bar": problem.bar_number,
                "section": problem.section,
                "line": problem.line,
                "column": problem.column,
                "message": problem.message,
                "remedy": problem.remedy,
                "unplayable": problem.unplayable,
            }
            for problem in arrangement.problems
        ],
    }


def _print(path: str, arrangement: Arrangement) -> None:
    facts = _summary(arrangement)
    print(f"{path}: {facts['title']}, no mistakes")
    print(
        f"  {facts['key']}, {facts['meter']}, {facts['tuning']}, {facts['bars']} bars: {' '.join(facts['form'])}"
    )
    print(f"  {facts['rolls']} rolls, {facts['single_notes']} single notes, {facts['strums']} strums")
    for problem in arrangement.problems:
        place = f"line {problem.line}, " if problem.line else ""
        print(f"  bar {problem.bar_number} ({place}{problem.section}): {problem.message}")
        if problem.remedy:
            print(f"      remedy: {problem.remedy}")
