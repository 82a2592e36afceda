"""All that is said: talk on stderr, results alone on stdout. Nothing unprintable goes out."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from tercet.errors import OutputError, OutsideError, TercetError
from tercet.printable import in_reach, visible, visible_json

if TYPE_CHECKING:
    from tercet.kit import Event

__all__ = [
    "INTERRUPTED",
    "length_text",
    "message_of",
    "put",
    "put_json",
    "say",
    "say_event",
    "say_json",
    "say_left",
    "size_text",
]

MOST_LEFT = 12

INTERRUPTED = 130
"""Exit code after Ctrl-C, as shells count it."""


def say(message: str) -> None:
    """Write a line for the person."""
    with suppress(OSError):  # of a terminal that has gone, or a full disk, nobody can be told
        print(in_reach(visible(message), sys.stderr.encoding), file=sys.stderr)


def say_event(event: Event) -> None:
    """Write an event's sentence for the person."""
    say(event.text)


def say_json(event: Event) -> None:
    """Write an event for a program: one line of JSON on stderr."""
    with suppress(OSError):
        print(visible_json(json.dumps(event.as_json())), file=sys.stderr, flush=True)


def put(result: object = "", *, end: str = "\n") -> None:
    """Write a result, on stdout.

    Raises
    ------
    OutputError
        It can't be written; `BrokenPipeError` if the reader has gone.
    """
    try:
        print(in_reach(visible(str(result)), sys.stdout.encoding), end=end)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(f"the results can't be written: {error.strerror or error}") from error


def put_json(facts: Any) -> None:
    """Write a result for programs, on stdout."""
    all_signs = (sys.stdout.encoding or "").lower().startswith("utf")
    put(visible_json(json.dumps(facts, indent=2, ensure_ascii=not all_signs)))


def say_left(left: Sequence[str]) -> None:
    """Tell which files stay as they are, a sentence each, and how to have them made all the same."""
    for sentence in left[:MOST_LEFT]:
        say(sentence)
    if len(left) > MOST_LEFT:
        say(f"and {len(left) - MOST_LEFT} more stay")
    if left:
        say("to have them made anyway, say --replace or move them elsewhere")


def length_text(length_s: float) -> str:
    """Return a length as people read it: ``1:05``."""
    return f"{int(length_s) // 60}:{int(length_s) % 60:02}"


def size_text(size_bytes: int) -> str:
    """Return the size of a file: ``9.8 kB``, ``1.2 MB``."""
    return f"{size_bytes / 1e6:.1f} MB" if size_bytes >= 100_000 else f"{size_bytes / 1e3:.1f} kB"


def message_of(error: BaseException) -> tuple[str, int]:
    """Return what is said of an error that ends a command, and the exit code."""
    if isinstance(error, TercetError):
        return str(error), error.exit_code
    if isinstance(error, OSError):
        file = f"{error.filename}: " if error.filename is not None else ""
        return f"{file}{error.strerror or error}", OutsideError.exit_code
    return "stopped; nothing half written was left", INTERRUPTED
