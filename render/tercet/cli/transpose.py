"""``tercet transpose``: a song in another key, for good."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from tercet.cli.rewriting import add_output, add_song, rewrite
from tercet.cli.talk import say
from tercet.wording import counted

if TYPE_CHECKING:
    from tercet.arranging.transposing import TransposedSong

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "transpose"
HELP = "write the song in another key"
DESCRIPTION = (
    "Write the song in another key: notes, chords and the setting `key` change; comments, words, marks and the order "
    "of everything stay. Pins that still hold move along; those that don't are dropped and listed. To hear or print a "
    "song in another key and leave its file as it is, use --transpose with the other commands, or the setting "
    "`sounding`."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_song(parser)
    parser.add_argument(
        "to",
        metavar="KEY",
        help="semitones up such as 3, down such as -2; or the key, such as Bb or 'F# minor', which is reached "
        "the nearest way",
    )
    add_output(parser)


def run(arguments: argparse.Namespace) -> int:
    """Transpose one song."""
    from tercet.arranging.transposing import transpose_text
    from tercet.kit.ready import problem_text

    moved = rewrite(
        arguments,
        lambda text, file: transpose_text(text, arguments.to, file),
        lambda song: bool(song.semitones) or song.song.key != song.old_key,
        maker=NAME,
    )
    say(_moved_text(moved))
    if moved.semitones == 6 and not arguments.to.lstrip("+").isdigit():
        say("down is as near: that would be -6")
    if moved.song.sounding:
        say(f"`sounding: {moved.song.sounding}` stays, and goes from {moved.song.key}")
    if moved.dropped:
        say(f"these pins don't hold in {moved.song.key} and were dropped: {', '.join(moved.dropped)}")
    for problem in moved.off_neck:
        say(problem_text(problem))
    return 0


def _moved_text(moved: TransposedSong) -> str:
    """Return from where to where a song was moved, and how far."""
    semitones, key = moved.semitones, moved.song.key
    if not semitones and key == moved.old_key:
        return f"nothing to do: the song is in {key} already"
    if not semitones:
        return f"{moved.old_key} is now spelt as {key}; it sounds the same"
    far = f"{counted(abs(semitones), 'semitone')} {'up' if semitones > 0 else 'down'}"
    return f"from {moved.old_key} to {key}, {far}"
