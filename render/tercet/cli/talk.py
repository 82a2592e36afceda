"""All that is said: talk and progress on stderr, results alone on stdout. Nothing unprintable goes out."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

from tercet.errors import OutputError
from tercet.printable import visible, visible_json

if TYPE_CHECKING:
    from tercet.publish import Drawing

__all__ = [
    "Report",
    "building",
    "counted",
    "progress",
    "put",
    "put_json",
    "say",
    "say_left",
    "say_missing_signs",
    "say_signs_without_font",
]

Report = Callable[[str, int, int], None]
"""Called as (what is being done, steps done, steps in all)."""

MOST_SIGNS = 12

MOST_LEFT = 12


def say(message: str) -> None:
    """Write a line for the person."""
    with suppress(OSError):  # of a terminal that has gone, or a full disk, nobody can be told
        print(visible(message), file=sys.stderr)


def put(result: object = "", *, end: str = "\n") -> None:
    """Write a result, on stdout.

    Raises
    ------
    OutputError
        It can't be written; `BrokenPipeError` if the reader has gone.
    """
    try:
        print(visible(str(result)), end=end)
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
        say("to have them made all the same: --replace, or move them away")


def counted(number: int, what: str) -> str:
    """Return a number of things: ``1 roll``, ``2 rolls``."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def say_signs_without_font(drawings: Iterable[Drawing]) -> None:
    """Tell which signs of some drawings no font here has, if any: they are drawn as boxes."""
    from tercet.publish.shapes import texts_in

    say_missing_signs(text.text for drawing in drawings for text in texts_in(drawing.shapes))


def say_missing_signs(texts: Iterable[str]) -> None:
    """Tell which signs of some texts no font here has, if any: they are drawn as boxes."""
    from tercet.publish.typefaces import without_font

    signs = without_font(texts)
    if signs:
        few = " ".join(signs[:MOST_SIGNS]) + (" …" if len(signs) > MOST_SIGNS else "")
        say(
            f"no font here has {few}: they are drawn as boxes. "
            'For Chinese, Japanese and Korean: pip install "tercet[cjk]"'
        )


@contextmanager
def building() -> Iterator[Report]:
    """Give a function that tells of the built-in ukulele being made: a line that counts, only if it is made at all."""
    moving = sys.stderr.isatty()
    told = False

    def report(what: str, done: int, total: int) -> None:
        nonlocal told
        if moving:
            line = f"\rmaking the built-in ukulele, once: {what} {done} of {total}"
            print(line, end="\n" if done == total else "", file=sys.stderr, flush=True)
        elif not told:
            say("making the built-in ukulele, once: a few seconds")
        told = True

    yield report


def _silent(_what: str, _done: int, _total: int) -> None:
    """Report to nobody."""


@contextmanager
def progress(title: str) -> Iterator[Report]:
    """Give a function that shows how far long work is; silent when stderr isn't a terminal.

    Colours and motion follow the terminal, and ``NO_COLOR`` is obeyed.
    """
    if not sys.stderr.isatty():
        yield _silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.completed}/{task.total}"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(visible(title), total=None)

        def report(what: str, done: int, total: int) -> None:
            bar.update(
                task, description=visible(f"{title}: {what}"), completed=done, total=total, refresh=True
            )

        yield report
