"""``tercet export``: a song for other programs."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import add_arranging_options, add_replace_option, play_options
from tercet.cli.talk import put, say, say_event
from tercet.errors import RequestError

if TYPE_CHECKING:
    from tercet.arranging import Arrangement

    _Export = tuple[bytes, tuple[str, ...]]

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "export"
HELP = "write a song for other programs: MusicXML, ABC, MIDI, a plain-text tab"
DESCRIPTION = (
    "Write an arrangement for other programs. The ending of FILE chooses its kind: .musicxml or .xml has the tune on a "
    "staff and the tab under it, .abc the tune with chords and words, .mid the layers as they are performed (with "
    "--plain the tune and its chords exactly as written), .txt the tab as plain text."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    add_arranging_options(parser)
    parser.add_argument(
        "--plain", action="store_true", help="MIDI as written, not as performed, for programs that draw notes"
    )
    add_replace_option(parser)


def run(arguments: argparse.Namespace) -> int:
    """Export one song."""
    from tercet.kit.ready import arranged, tell_off_neck
    from tercet.made_files import check_may_make, write_made
    from tercet.song import read_song

    path = Path(arguments.output)
    ending = path.suffix.lower()
    if ending not in _KINDS:
        known = " ".join(_KINDS)
        raise RequestError(
            f"{path} ends in {ending or 'nothing'}: the endings that can be exported are {known}"
        )
    if arguments.plain and _KINDS[ending] is not _midi:
        raise RequestError(f"--plain is for MIDI, and {path} isn't: leave --plain out, or end FILE in .mid")
    check_may_make(path, replace=arguments.replace)
    arrangement = arranged(read_song(arguments.song), play_options(arguments), say_event)
    if arguments.plain or ending == ".abc":
        _say_unmoved(arrangement, path)
    else:
        tell_off_neck(arrangement, say_event)
    data, remarks = _KINDS[ending](arrangement, plain=arguments.plain)
    write_made(path, data, maker=NAME, replace=arguments.replace)
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


def _musicxml(arrangement: Arrangement, *, plain: bool) -> _Export:  # noqa: ARG001 - of one form with the others
    from tercet.exchange.musicxml import musicxml_bytes

    return musicxml_bytes(arrangement)


def _abc(arrangement: Arrangement, *, plain: bool) -> _Export:  # noqa: ARG001
    from tercet.exchange.abc import abc_bytes

    return abc_bytes(arrangement.song)


def _midi(arrangement: Arrangement, *, plain: bool) -> _Export:
    if plain:
        from tercet.exchange.midi import plain_midi_bytes

        return plain_midi_bytes(arrangement.song)
    from tercet.kit import PlayOptions
    from tercet.performing import lay_out, perform
    from tercet.performing.midi import midi_bytes

    timeline = lay_out(arrangement, count_in_bars=PlayOptions().counted_in(arrangement.song))
    return midi_bytes(arrangement, perform(arrangement, timeline)), ()


def _text(arrangement: Arrangement, *, plain: bool) -> _Export:  # noqa: ARG001
    from tercet.arranging.tab import tab_text

    return f"{arrangement.song.title}\n\n{tab_text(arrangement)}".encode(), ()


_KINDS: dict[str, Callable[..., _Export]] = {
    ".musicxml": _musicxml, ".xml": _musicxml, ".abc": _abc, ".mid": _midi, ".txt": _text,
}  # fmt: skip
"""What writes a file of each ending: bytes, and what couldn't be said in them."""
