"""``tercet pin``: the fingering that was found, written into the song."""

from __future__ import annotations

import argparse

from tercet.cli.rewriting import add_output, add_song, rewrite
from tercet.cli.talk import say
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
    add_song(parser)
    add_output(parser)


def run(arguments: argparse.Namespace) -> int:
    """Pin one song."""
    from tercet.arranging.pinning import pin_song
    from tercet.kit.ready import problem_text

    pinned = rewrite(arguments, pin_song, lambda song: bool(song.pins or song.shapes), maker=NAME)
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
