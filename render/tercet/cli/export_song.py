"""``tercet export``: a song for other programs."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import add_replace_option, count_in_of, one_tuning_of, tuned_and_moved
from tercet.cli.talk import put, say
from tercet.errors import RequestError

if TYPE_CHECKING:
    from tercet.song import Song
    from tercet.theory import Tuning

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
    parser.add_argument(
        "--transpose", metavar="N", type=int, default=0, help="semitones up, or down with a minus"
    )
    parser.add_argument("--tuning", metavar="NAME", help="high-g, low-g, baritone, or four notes")
    parser.add_argument(
        "--plain", action="store_true", help="MIDI as written, not as performed, for programs that draw notes"
    )
    add_replace_option(parser)


def run(arguments: argparse.Namespace) -> int:
    """Export one song."""
    from tercet.song import read_song
    from tercet.tracks.made_files import check_may_make, write_made

    path = Path(arguments.output)
    ending = path.suffix.lower()
    if ending not in _KINDS:
        known = " ".join(_KINDS)
        raise RequestError(
            f"{path} ends in {ending or 'nothing'}: the endings that can be exported are {known}"
        )
    if arguments.plain and _KINDS[ending] is not _midi:
        raise RequestError(f"--plain is for MIDI, and {path} isn't: leave --plain away, or end FILE in .mid")
    check_may_make(path, replace=arguments.replace)
    asked = one_tuning_of(arguments.tuning) if arguments.tuning else None
    song, tuning, dropped = tuned_and_moved(read_song(arguments.song), arguments.transpose, asked)
    if dropped:
        say(f"pins are for the song as written and were dropped: {', '.join(dropped)}")
    data, remarks = _KINDS[ending](song, tuning, plain=arguments.plain)
    write_made(path, data, maker=NAME, replace=arguments.replace)
    put(path)
    for remark in remarks:
        say(f"- {remark}")
    return 0


def _musicxml(song: Song, tuning: Tuning, *, plain: bool) -> _Export:  # noqa: ARG001 - of one form with the others
    from tercet.arrange import arrange
    from tercet.exchange.musicxml_out import musicxml_bytes

    return musicxml_bytes(arrange(song, tuning))


def _abc(song: Song, tuning: Tuning, *, plain: bool) -> _Export:  # noqa: ARG001
    from tercet.exchange.abc_out import abc_bytes

    return abc_bytes(song)


def _midi(song: Song, tuning: Tuning, *, plain: bool) -> _Export:
    if plain:
        from tercet.exchange.midi_plain import plain_midi_bytes

        return plain_midi_bytes(song), ()
    from tercet.arrange import arrange
    from tercet.exchange import midi_bytes
    from tercet.perform import lay_out, perform

    arrangement = arrange(song, tuning)
    timeline = lay_out(arrangement, count_in_bars=count_in_of(None, song))
    return midi_bytes(arrangement, perform(arrangement, timeline)), ()


def _text(song: Song, tuning: Tuning, *, plain: bool) -> _Export:  # noqa: ARG001
    from tercet.arrange import arrange
    from tercet.arrange.tab import tab_text

    return f"{song.title}\n\n{tab_text(arrange(song, tuning))}".encode(), ()


_KINDS: dict[str, Callable[..., _Export]] = {
    ".musicxml": _musicxml, ".xml": _musicxml, ".abc": _abc, ".mid": _midi, ".txt": _text,
}  # fmt: skip
"""What writes a file of each ending: bytes, and what couldn't be said in them."""
