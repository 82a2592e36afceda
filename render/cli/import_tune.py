"""``tercet import``: a tune from elsewhere as an arrangement file."""

from __future__ import annotations

import argparse
from pathlib import Path

from render.cli.talk import say
from render.errors import RequestError

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "import"
HELP = "turn a tune (MusicXML) into a song file"
DESCRIPTION = (
    "Turn a tune that you have into a song file: melody, chord symbols, words, marks, repeats. Everything that was "
    "dropped, guessed or changed is listed, here and at the top of the file. A file that exists is never overwritten."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("tune", metavar="TUNE", help="file to read: .musicxml, .xml or .mxl")
    parser.add_argument("-o", "--output", metavar="SONG.yaml", required=True, help="song file to write")
    parser.add_argument(
        "--part", metavar="PART", default="", help="the part with the tune, by number or name"
    )
    parser.add_argument("--voice", metavar="VOICE", default="", help="the voice with the tune, by number")


def run(arguments: argparse.Namespace) -> int:
    """Import one tune."""
    from render.exchange.imported_text import imported_text
    from render.exchange.tunes import Choice, read_tune
    from render.tracks.files import write_bytes

    target = Path(arguments.output)
    if target.suffix.lower() not in (".yaml", ".yml"):
        raise RequestError(
            f"{target}: a song's file name ends in .yaml, such as {target.stem or 'song'}.yaml"
        )
    if target.exists():
        raise RequestError(f"{target} is there already, and stays as it is: choose another name")
    source = Path(arguments.tune)
    sheet = read_tune(source, Choice(arguments.part, arguments.voice))
    text, _, remarks = imported_text(sheet, source.name)
    write_bytes(target, text.encode("utf-8"), durable=True)
    print(target)
    for remark in remarks:
        say(f"- {remark}")
    say(f"next: tercet check {target}")
    return 0
