"""What commands share that write a song anew: over its own file, or beside it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, TypeVar

from tercet.cli.options import add_options
from tercet.cli.talk import put

__all__ = ["add_output", "add_song", "rewrite"]


class _Rewritten(Protocol):
    """A song written anew."""

    @property
    def text(self) -> str: ...


_Made = TypeVar("_Made", bound=_Rewritten)


def add_song(parser: argparse.ArgumentParser) -> None:
    """Add the song, which comes first."""
    parser.add_argument("song", metavar="SONG", help="arrangement file; it is rewritten")


def add_output(parser: argparse.ArgumentParser) -> None:
    """Add where else the song may go."""
    parser.add_argument("-o", "--output", metavar="FILE", help="write here instead, and leave SONG as it is")
    add_options(parser, "--replace")


def rewrite(
    arguments: argparse.Namespace,
    made: Callable[[str, str], _Made],
    changed: Callable[[_Made], bool],
    *,
    maker: str,
) -> _Made:
    """Write a song anew and tell where; over its own file only where something has changed.

    Parameters
    ----------
    arguments
        With those that `add_song` and `add_output` add.
    made
        From the text of the file, and what to call it in messages.
    changed
        Whether that differs from what the file holds.
    maker
        The command.
    """
    from tercet.files import write_bytes
    from tercet.made_files import check_may_make, write_made
    from tercet.song.plain_text import read_text

    source = Path(arguments.song)
    target = Path(arguments.output) if arguments.output else None
    if target is not None:
        check_may_make(target, replace=arguments.replace)
    song = made(read_text(source), str(source))
    data = song.text.encode("utf-8")
    if target is not None:
        write_made(target, data, maker=maker, replace=arguments.replace, durable=True)
    elif changed(song):
        write_bytes(source, data, durable=True)
    else:
        return song
    put(target or source)
    return song
