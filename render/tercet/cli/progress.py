"""How long work is told: drawn on a terminal, or an event a line for programs (``--progress json``)."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from typing import TYPE_CHECKING

from tercet.cli.talk import length_text, message_of, put, say, say_json, say_left, size_text
from tercet.errors import TercetError
from tercet.printable import visible
from tercet.wording import counted

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

    from tercet.kit import Event, Listener

__all__ = ["Terminal", "listening"]

PutRow = Callable[[str], None]


@contextmanager
def listening(arguments: argparse.Namespace, put_row: PutRow = put) -> Iterator[Listener]:
    """Give what hears the events of long work, and tells them as ``--progress`` says.

    Parameters
    ----------
    arguments
        Of the command.
    put_row
        Writes a row of the table of a kit's files; a kit isn't every command's result.
    """
    as_json = arguments.progress == "json"
    results = JsonLines(put_row if put_row is put else None) if as_json else Terminal(put_row)
    try:
        yield results
    except (KeyboardInterrupt, TercetError, OSError) as error:
        if not as_json or isinstance(error, BrokenPipeError):
            raise
        raise SystemExit(_say_ended(error)) from error
    finally:
        results.close()


def _say_ended(error: BaseException) -> int:
    """Write as an event what ended the work; return the exit code."""
    from tercet.kit import Event

    text, code = message_of(error)
    say_json(Event("failed", text, exit_code=code))
    return code


class Results:
    """Puts the results on stdout: the names of files, and of a kit's files a table when it is done."""

    def __init__(self, put_row: PutRow | None = put) -> None:
        self._put_row = put_row
        self._kit_files: list[Event] | None = None

    def __call__(self, event: Event) -> None:
        """Hear an event."""
        of_kit = event.text == "kit"
        if event.kind == "started" and of_kit:
            self._kit_files = []
        elif event.kind in ("made", "kept"):
            if self._kit_files is None:
                put(event.file)
            else:
                self._kit_files.append(event)
        elif event.kind == "done" and of_kit:
            if self._put_row is not None:
                _put_table(self._kit_files or (), self._put_row)
            self._kit_files = None

    def close(self) -> None:
        """Tell what is to be told at the end."""


class JsonLines(Results):
    """Writes each event as a line for a program, on stderr."""

    def __call__(self, event: Event) -> None:
        """Hear an event."""
        say_json(event)
        super().__call__(event)


class Terminal(Results):
    """Draws events for a person: a bar while there is something to wait for, then sentences and results."""

    def __init__(self, put_row: PutRow = put) -> None:
        super().__init__(put_row)
        self._bar: tuple[Event, Progress, TaskID] | None = None
        self._held: list[str] = []
        self._left: list[str] = []
        self._failed: list[str] = []
        self._prepared: set[str] = set()

    def __call__(self, event: Event) -> None:
        """Hear an event."""
        if event.kind == "left":
            self._left.append(event.text)
            return
        if self._kit_files is None:
            self._say_left()
        if self._bar is not None and self._bar[0].kind == "preparing" != event.kind:
            self._close_bar()
        if event.kind in ("notice", "problem"):
            (say if self._kit_files is None else self._held.append)(event.text)
        elif event.kind == "failed":
            self._failed.append(event.text)
        elif event.kind == "preparing":
            self._prepare(event)
        else:
            self._go_on(event)

    def _go_on(self, event: Event) -> None:
        """Draw how far it is, and what came of it."""
        done_kit = event.kind == "done" and event.text == "kit"
        if event.kind == "done":
            self._close_bar(event)
        if done_kit:
            for text in self._held:
                say(text)
            self._held.clear()
        super().__call__(event)
        if event.kind == "started":
            self._open_bar(event)
        elif event.kind in ("step", "made"):
            self._move_bar(event)
        if event.kind == "made" and event.text and self._kit_files is None:
            say(f"{event.name}: {event.track}, {event.text}")
        if done_kit:
            self._say_left()
            files = f"{counted(event.total or 0, 'file')}, {event.done or 'none'} made now"
            say(f"{event.song}: {files if event.total else 'nothing made'}")

    def _say_left(self) -> None:
        say_left(self._left)
        self._left.clear()

    def _prepare(self, event: Event) -> None:
        """Tell what is done once on a computer."""
        self._open_bar(event)
        if self._bar is None and event.text not in self._prepared:
            self._prepared.add(event.text)
            say(f"{event.text} …")
        elif self._bar is not None:
            opened, bar, task = self._bar
            bar.update(
                task,
                description=visible(event.text),
                completed=event.done,
                total=event.total,
                refresh=True,
            )
            if opened.kind == "preparing" and event.done == event.total:
                self._close_bar()

    def _open_bar(self, event: Event) -> None:
        """Show how far long work is; nothing where stderr isn't a terminal. ``NO_COLOR`` is obeyed."""
        if self._bar is not None or not sys.stderr.isatty():
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TextColumn("{task.completed}/{task.total}"),
            TimeRemainingColumn(),
        )
        bar = Progress(*columns, console=Console(stderr=True), transient=True)
        bar.start()
        title = event.song or event.name or event.text
        self._bar = event, bar, bar.add_task(visible(title), total=event.total, completed=event.done or 0)

    def _move_bar(self, event: Event) -> None:
        if self._bar is None or event.total is None or self._bar[0].song != event.song:
            return
        started, bar, task = self._bar
        title = started.song or started.name or started.text
        what = event.name if event.kind == "made" else event.text
        bar.update(
            task,
            description=visible(f"{title}: {what}"),
            completed=event.done,
            total=event.total,
            refresh=True,
        )

    def _close_bar(self, event: Event | None = None) -> None:
        """Take the bar away when that is done for which it was opened, or in any case."""
        if self._bar is not None and (event is None or self._bar[0].text == event.text):
            self._bar[1].stop()
            self._bar = None

    def close(self) -> None:
        """Take the bar away, and tell all together what couldn't be made."""
        self._close_bar()
        self._say_left()
        if self._failed:
            say(f"{counted(len(self._failed), 'thing')} couldn't be made; all others are there:")
            for message in self._failed:
                say(f"  {message}")


def _put_table(files: Sequence[Event], put_row: PutRow) -> None:
    """Write a row for each file of a song's kit, folder by folder."""

    def folder(event: Event) -> str:
        return event.file.rpartition("/")[0]

    listed = sorted(files, key=lambda event: (folder(event), event.file))
    for place, events in groupby(listed, key=folder):
        put_row(f"{place}/")
        for event in events:
            length, size = length_text(event.length_s or 0), size_text(event.size_bytes or 0)
            put_row(f"  {event.name:<28} {length:>5}  {size:>8}  {event.text}")
