"""``tercet new``: a starter song to edit."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.talk import put, say
from tercet.errors import RequestError
from tercet.printable import visible_line
from tercet.typed import typed

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run", "starter"]

NAME = "new"
HELP = "write a starter song to edit"
DESCRIPTION = (
    "Write a short song that works, to be changed into yours. A file that exists is never overwritten."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG.yaml", help="file to write")


def run(arguments: argparse.Namespace) -> int:
    """Write the starter song."""
    from tercet.files import may_replace, write_bytes

    path = Path(arguments.song)
    if path.suffix.lower() not in (".yaml", ".yml"):
        raise RequestError(f"{path}: a song's file name ends in .yaml, such as {path.stem or 'song'}.yaml")
    if may_replace(path):
        raise RequestError(f"{path} already exists and stays as it is: choose another name")
    write_bytes(path, starter(path).encode(), durable=True)
    put(path)
    say(f"next: {typed('tercet', 'check', path)}, then {typed('tercet', 'kit', path, '-o', 'recordings')}")
    return 0


def starter(path: Path) -> str:
    """Return a starter song for a file, with a title after its name, whatever that is."""
    from tercet.song.starter import starter_song

    words = visible_line(path.stem).replace("-", " ").replace("_", " ").replace("�", " ").split()
    return starter_song(visible_line(typed(path.name)), " ".join(words).title() or "A New Song")
