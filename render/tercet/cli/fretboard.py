"""``tercet fretboard``: the notes of a key, or of a song, on the neck."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import SHARED, add_options, play_options, read_by
from tercet.cli.talk import put, say_event
from tercet.errors import RequestError

if TYPE_CHECKING:
    from tercet.publish.pictures import FretboardMap

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "fretboard"
HELP = "draw the notes of a key, or of a song, on the neck"
DESCRIPTION = (
    "Draw a neck with the notes of a key and their steps: home (1) stands in front, third and fifth behind it, the "
    "other steps farther off. With SONG, the notes of its tune stand in front of all others of its key, on the strings "
    "on which Tercet plays them. The ending of FILE chooses its kind: .svg, .png or .pdf."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", nargs="?", help="arrangement file whose tune is mapped")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    parser.add_argument(
        "--key", type=read_by("key_of"), metavar="KEY", help='such as "A minor" (default: the song\'s)'
    )
    tuning = f"{SHARED['--tuning']['help']}; default: the song's, or high-g"
    add_options(parser, "--tuning", help=tuning)
    add_options(parser, "--as-written")
    parser.add_argument(
        "--frets", metavar="N", type=int, help="frets that are drawn (default 12, or more if needed)"
    )
    parser.add_argument(
        "--blank", action="store_true", help="empty rings instead of notes, for a class to fill in"
    )
    add_options(parser, "--left-handed", help="mirror the neck: the nut on the right")
    parser.add_argument(
        "--paper", metavar="NAME", default="A4", help="of a PDF: A4 (default), Letter, A5 or Half-Letter"
    )
    add_options(parser, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Draw one neck."""
    from tercet.kit.on_paper import tell_signs_without_font
    from tercet.made_files import check_may_make, write_made
    from tercet.publish import PICTURE_ENDINGS, landscape_pdf, picture_maker
    from tercet.publish.picture_files import paper_named
    from tercet.publish.pictures import fretboard_picture

    path = Path(arguments.output)
    make = picture_maker(path, {**PICTURE_ENDINGS, ".pdf": landscape_pdf(paper_named(arguments.paper))})
    check_may_make(path, replace=arguments.replace)
    drawing = fretboard_picture(_asked(arguments))
    tell_signs_without_font((drawing,), say_event)
    write_made(path, make(drawing), maker=NAME, replace=arguments.replace)
    put(path)
    return 0


def _asked(arguments: argparse.Namespace) -> FretboardMap:
    """Return what is to be mapped."""
    from tercet.kit.on_paper import map_of_song
    from tercet.kit.sources import source_of
    from tercet.publish.pictures import USUAL_FRETS, FretboardMap
    from tercet.theory import tuning_named

    if arguments.song is None and arguments.key is None and not arguments.blank:
        raise RequestError(
            'which notes? Name a SONG, or a key such as --key "A minor"; --blank alone draws an empty neck'
        )
    _check_frets(arguments.frets)
    key = arguments.key
    mirrored, blank = arguments.left_handed, arguments.blank
    if arguments.song is not None:
        song, options = source_of(arguments.song).read(), play_options(arguments)
        return map_of_song(
            song, options, say_event, key=key, frets=arguments.frets, blank=blank, left_handed=mirrored
        )
    return FretboardMap(
        key,
        play_options(arguments).strings or tuning_named("high-g"),
        arguments.frets or USUAL_FRETS,
        str(key) if key else "The neck",
        blank=blank,
        left_handed=mirrored,
    )


def _check_frets(frets: int | None) -> None:
    from tercet.neck.notes import FEWEST_FRETS, MOST_FRETS

    if frets is not None and not FEWEST_FRETS <= frets <= MOST_FRETS:
        raise RequestError(f"--frets must be {FEWEST_FRETS} to {MOST_FRETS} (got {frets})")
