"""Entry point: finds the command, runs it, and turns errors into a message and an exit code.

Exit codes: 0 done, 1 the user's file or request has mistakes, 2 wrong usage, 3 something outside is missing.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from tercet import __version__
from tercet.cli import (
    advise,
    check,
    desk,
    export_song,
    film,
    fretboard,
    hear,
    import_tune,
    kit,
    new,
    page,
    pin,
    plan,
    publish,
    render,
    sheet,
    songbook,
    sounds,
    transpose,
)
from tercet.cli.talk import message_of, say
from tercet.cli.usage import Parser, look_at, meant_words, plain_words
from tercet.errors import OutsideError, TercetError

__all__ = ["build_parser", "main"]


class Command(Protocol):
    """What a command's module offers."""

    NAME: str
    HELP: str

    def add_arguments(self, parser: argparse.ArgumentParser) -> None: ...

    def run(self, arguments: argparse.Namespace) -> int: ...


COMMANDS = (
    desk,
    new,
    import_tune,
    check,
    advise,
    pin,
    transpose,
    render,
    film,
    kit,
    page,
    plan,
    publish,
    hear,
    sheet,
    songbook,
    fretboard,
    export_song,
    sounds,
)


def build_parser() -> Parser:
    """Return the parser of the whole command line."""
    parser = Parser(
        prog="tercet",
        description="One tune as three layers on four strings: loud melody, single notes between, quiet strums. "
        "Write the song as text; get recordings with any layer left out.",
        epilog="tercet COMMAND --help explains a command.",
    )
    parser.add_argument("--version", action="version", version=f"tercet {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    for command in COMMANDS:
        child = commands.add_parser(command.NAME, help=command.HELP, description=command.DESCRIPTION)
        command.add_arguments(child)
        child.set_defaults(run=command.run)
        parser.commands[command.NAME] = child
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    _ready_streams()
    try:
        return _flushed(_run(argv))
    except KeyboardInterrupt as error:
        return _say_ended(error)


def _run(argv: Sequence[str] | None) -> int:
    """Run one command, say what it couldn't do, and return its exit code."""
    words, parser = plain_words(sys.argv[1:] if argv is None else argv), build_parser()
    try:
        look_at(words, parser)
        arguments = parser.parse_args(words)
        code: int = arguments.run(arguments)
    except SystemExit as done:
        return int(done.code or 0)
    except BrokenPipeError:
        return 0
    except (TercetError, OSError) as error:
        return _say_ended(error, words)
    return code


def _say_ended(error: BaseException, words: Sequence[str] = ()) -> int:
    """Say what ended a command, and the command to type instead where that is clear; return the exit code."""
    text, code = message_of(error)
    say(text)
    if instead := meant_words(error, words):
        say(f"    write:  {instead}")
    return code


# ---- the standard streams as a command finds them: closed, full, broken, or in an old encoding


def _ready_streams() -> None:
    """Make streams that are closed lead nowhere, and let none refuse a character: it is written as an escape."""
    if sys.stdin is None or sys.stdout is None or sys.stderr is None:
        _occupy()
    if sys.stdout is None:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - as long as the process
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - as long as the process
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _occupy() -> None:
    """Fill the numbers of streams that are closed, or the next file that is opened would get what is printed."""
    while True:
        number = os.open(os.devnull, os.O_RDWR)
        if number > 2:
            os.close(number)
            return
        os.set_inheritable(number, True)


def _flushed(code: int) -> int:
    """Write out the results and return the exit code; say where they can't be written, unless the reader has gone."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _silence()
    except OSError as error:
        _silence()
        say(f"the results can't be written: {error.strerror or error}")
        return code or OutsideError.exit_code
    return code


def _silence() -> None:
    """Let what is still to be written go nowhere, without another error at exit."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
