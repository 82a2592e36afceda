"""``tercet export``: a song for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import ARRANGING, add_options, play_options
from tercet.cli.talk import put, say, say_event

if TYPE_CHECKING:
    from tercet.arranging import Arrangement

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "export"
HELP = "write a song for other programs: MusicXML, ABC, ChordPro, MIDI, a plain-text tab"
DESCRIPTION = (
    "Write an arrangement for other programs. The ending of FILE chooses its kind: .musicxml or .xml has the tune on a "
    "staff and the tab under it, .abc the tune with chords and words, .cho words and chords (ChordPro), .mid the "
    "layers as they are performed (with --plain the tune and its chords exactly as written), .txt the tab as text."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "song")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    add_options(parser, *ARRANGING)
    parser.add_argument(
        "--plain", action="store_true", help="MIDI as written, not as performed, for programs that draw notes"
    )
    add_options(parser, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Export one song."""
    from tercet.front_door import check_may_export, export
    from tercet.kit.ready import arranged, tell_off_neck
    from tercet.kit.sources import source_of

    path = Path(arguments.output)
    check_may_export(path, plain=arguments.plain, replace=arguments.replace)
    arrangement = arranged(source_of(arguments.song).read(), play_options(arguments), say_event)
    if arguments.plain or path.suffix.lower() == ".abc":
        _say_unmoved(arrangement, path)
    else:
        tell_off_neck(arrangement, say_event)
    remarks = export(arrangement, path, plain=arguments.plain, replace=arguments.replace)
    put(path)
    for remark in remarks:
        say(f"- {remark}")
    return 0


def _say_unmoved(arrangement: Arrangement, path: Path) -> None:
    """Say that a file which holds the song as written isn't what is played, where notes are moved."""
    moved = sum(problem.off_neck and not problem.unplayable for problem in arrangement.problems)
    if moved:
        kept = (
            "a pitch that no string has keeps its"
            if moved == 1
            else f"{moved} pitches that no string has keep their"
        )
        say(f"{path} holds the song as written: {kept} octave there, and the class plays another")
