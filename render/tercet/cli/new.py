"""``tercet new``: a starter song to edit."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.talk import put, say
from tercet.errors import RequestError
from tercet.printable import visible_line
from tercet.typed import typed

__all__ = ["DESCRIPTION", "HELP", "NAME", "STARTER", "add_arguments", "run", "starter"]

NAME = "new"
HELP = "write a starter song to edit"
DESCRIPTION = (
    "Write a short song that works, to be changed into yours. A file that exists is never overwritten."
)

STARTER = """\
# A starter song: change it line by line and run `tercet check {name}` after each change.
# A row is its name, then bars between | signs. A blank line starts the next line of music.
# Songs have owners: before you share recordings of somebody's song, look up the rules where you live.
title: {title}
composer: your name
key: C major
meter: 4/4
tempo: 88                 # pulses a minute
tuning: high-g            # high-g, low-g, baritone, or four notes such as [A4, D4, F#4, B4]
players: beginner         # beginner, improving or free: what the hands are asked to do
dynamics: {{melody: f, between: mp, strums: p}}
strum: d . d u . u d u    # d down, u up, x chop, . nothing
form: verse*2
sections:
  verse: |
    chords   C                 | F         | G7                | C
    melody   G4 E G C5         | A4:2 F:2  | G4 F E D          | E4:4
    words    Put your own words | here, now | one for each note | sung
"""


LONGEST_TITLE = 80


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
    from tercet.song.spelling import yaml_text

    words = visible_line(path.stem).replace("-", " ").replace("_", " ").replace("�", " ").split()
    title = " ".join(words).title()[:LONGEST_TITLE].strip() or "A New Song"
    return STARTER.format(name=visible_line(typed(path.name)), title=yaml_text(title))
