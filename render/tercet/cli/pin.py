"""``tercet pin``: the fingering that was found, written into the song."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.talk import counted, put, say

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "pin"
HELP = "write the fingering that was found into the song"
DESCRIPTION = (
    "Write strings and chord shapes of the arrangement into the song as pins, so that they stay when the song is "
    "edited. Comments stay, bars are aligned. A pin that is there already is kept; take pins away where you "
    "want Tercet to choose again."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file; it is rewritten")
    parser.add_argument("-o", "--output", metavar="FILE", help="write here instead, and leave SONG as it is")


def run(arguments: argparse.Namespace) -> int:
    """Pin one song."""
    from tercet.arrange.pinning import pin_song
    from tercet.song.plain_text import read_text
    from tercet.tracks.files import may_replace, write_bytes

    source = Path(arguments.song)
    target = Path(arguments.output) if arguments.output else source
    if arguments.output:
        may_replace(target)
    text = read_text(source)
    pinned = pin_song(text, str(source))
    if arguments.output or pinned.pins or pinned.shapes:
        write_bytes(target, pinned.text.encode("utf-8"), durable=True)
        put(target)
    say(_told(pinned.pins, pinned.shapes))
    if pinned.unpinned:
        why = "no string has it, its passes play it in different ways, or it isn't played as asked"
        say(f"{counted(pinned.unpinned, 'note')} left free: {why}")
    if pinned.changed:
        bars = ", ".join(map(str, pinned.changed))
        say(f"with all pins kept, these bars are played a little differently than before: {bars}")
    return 0


def _told(pins: int, shapes: int) -> str:
    found = [counted(number, what) for number, what in ((pins, "note"), (shapes, "chord")) if number]
    if not found:
        return "nothing to pin: every note that can be pinned is pinned already"
    return f"{' and '.join(found)} pinned"
