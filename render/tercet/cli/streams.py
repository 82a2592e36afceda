"""The standard streams as a command finds them: closed, full, broken, or in an old encoding."""

from __future__ import annotations

import io
import os
import sys
from contextlib import suppress
from pathlib import Path

from tercet.cli.talk import say

__all__ = ["flushed", "ready_streams"]

OUTSIDE = 3
"""Exit code when the results can't be written; as for other things outside."""


def ready_streams() -> None:
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


def flushed(code: int) -> int:
    """Write out the results and return the exit code; say where they can't be written, unless the reader has gone."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _silence()
    except OSError as error:
        _silence()
        say(f"the results can't be written: {error.strerror or error}")
        return code or OUTSIDE
    return code


def _silence() -> None:
    """Let what is still to be written go nowhere, without another error at exit."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
