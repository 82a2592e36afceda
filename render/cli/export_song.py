"""``tercet export``: a song for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path

from render.cli.options import one_tuning_of, tuned_and_moved
from render.cli.talk import say
from render.errors import RequestError

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "export"
HELP = "write a song for other programs: MusicXML, or a plain-text tab"
DESCRIPTION = (
    "Write an arrangement for other programs. The ending of FILE chooses its kind: .musicxml or .xml has the tune on a "
    "staff and the tab under it, .txt has the tab as plain text. (`tercet render SONG -o FILE.mid` writes MIDI.)"
)

_MUSICXML, _TEXT = (".musicxml", ".xml"), (".txt",)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    parser.add_argument(
        "--transpose", metavar="N", type=int, default=0, help="semitones up, or down with a minus"
    )
    parser.add_argument("--tuning", metavar="NAME", help="high-g, low-g, baritone, or four notes")
    parser.add_argument("--replace", action="store_true", help="replace FILE when it is there already")


def run(arguments: argparse.Namespace) -> int:
    """Export one song."""
    from render.arrange import arrange
    from render.song import read_song
    from render.tracks.files import may_replace, write_bytes

    path = Path(arguments.output)
    ending = path.suffix.lower()
    if ending not in (*_MUSICXML, *_TEXT):
        known = " ".join((*_MUSICXML, *_TEXT))
        raise RequestError(
            f"{path} ends in {ending or 'nothing'}: the endings that can be exported are {known}"
        )
    if may_replace(path) and not arguments.replace:
        raise RequestError(
            f"{path} is there already, and stays as it is: choose another name, or say --replace"
        )
    asked = one_tuning_of(arguments.tuning) if arguments.tuning else None
    song, tuning, dropped = tuned_and_moved(read_song(arguments.song), arguments.transpose, asked)
    if dropped:
        say(f"pins are for the song as written and were dropped: {', '.join(dropped)}")
    arrangement = arrange(song, tuning)
    remarks: tuple[str, ...] = ()
    if ending in _TEXT:
        from render.arrange.tab import tab_text

        data = f"{song.title}\n\n{tab_text(arrangement)}".encode()
    else:
        from render.exchange.musicxml_out import musicxml_bytes

        data, remarks = musicxml_bytes(arrangement)
    write_bytes(path, data)
    print(path)
    for remark in remarks:
        say(f"- {remark}")
    return 0
