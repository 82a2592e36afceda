"""``tercet pin``: the fingering that was found, written into the song."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.options import add_options
from tercet.cli.talk import put, say
from tercet.wording import counted

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "pin"
HELP = "write the fingering that was found into the song"
DESCRIPTION = (
    "Write strings and chord shapes of the arrangement into the song as pins, so that they stay when the song is "
    "edited. Comments stay, bars are aligned. A pin that is there already is kept; remove pins where you "
    "want Tercet to choose again."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file; it is rewritten")
    parser.add_argument("-o", "--output", metavar="FILE", help="write here instead, and leave SONG as it is")
    add_options(parser, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Pin one song."""
    from tercet.arranging.pinning import pin_song
    from tercet.files import write_bytes
    from tercet.kit.ready import problem_text
    from tercet.made_files import check_may_make, write_made
    from tercet.song.plain_text import read_text

    source = Path(arguments.song)
    target = Path(arguments.output) if arguments.output else source
    if arguments.output:
        check_may_make(target, replace=arguments.replace)
    text = read_text(source)
    pinned = pin_song(text, str(source))
    data = pinned.text.encode("utf-8")
    if arguments.output:
        write_made(target, data, maker=NAME, replace=arguments.replace, durable=True)
        put(target)
    elif pinned.pins or pinned.shapes:
        write_bytes(target, data, durable=True)
        put(target)
    for problem in pinned.off_neck:
        say(problem_text(problem))
    say(_pinned_text(pinned.pins, pinned.shapes))
    if pinned.unpinned:
        why = "no string has it, its passes play it in different ways, or it isn't played as asked"
        say(f"{counted(pinned.unpinned, 'note')} left free: {why}")
    if pinned.changed:
        bars = ", ".join(map(str, pinned.changed))
        say(f"with all pins kept, these bars are played a little differently than before: {bars}")
    return 0


def _pinned_text(pins: int, shapes: int) -> str:
    found = [counted(number, what) for number, what in ((pins, "note"), (shapes, "chord")) if number]
    if not found:
        return "nothing to pin: every note that can be pinned is pinned already"
    return f"{' and '.join(found)} pinned"
