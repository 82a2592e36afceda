"""``tercet import``: a tune from elsewhere as an arrangement file."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import add_options
from tercet.cli.talk import put, say
from tercet.errors import RequestError
from tercet.typed import typed
from tercet.wording import counted, listed

if TYPE_CHECKING:
    from tercet.arranging.advice import FirstLook
    from tercet.exchange import Choice, LeadSheet
    from tercet.song import Song

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "import"
HELP = "turn a tune (MusicXML, ABC, MIDI) or words with chords (ChordPro, text) into a song file"
DESCRIPTION = (
    "Turn a tune that you have into a song file: melody, chord symbols, words, marks, repeats. Everything that was "
    "dropped, guessed or changed is listed, here and at the top of the file. Words with chords, in ChordPro or with "
    "the chords on the line above, become chords, words and rests: the tune is for you to fill in. With a folder as "
    "OUTPUT every tune of a book becomes a file in it, or the one that --tune names. A song of yours is overwritten "
    "only with --replace."
)

_MOST_OF_A_NAME = 99


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "tune", metavar="TUNE", help="file to read: .musicxml, .xml, .mxl, .abc, .mid, .cho or .txt"
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUTPUT",
        required=True,
        help="song file to write, or a folder that is there",
    )
    parser.add_argument(
        "--tune",
        dest="which",
        metavar="TUNE",
        default="",
        help="tune of a book, by number or title or a part of it",
    )
    parser.add_argument(
        "--part",
        "--track",
        metavar="PART",
        default="",
        help="the part, or MIDI track, with the tune, by number or name",
    )
    parser.add_argument(
        "--harmonise",
        action="store_true",
        help="propose plain chords for a tune that has none; comments in the file mark them",
    )
    parser.add_argument("--voice", metavar="VOICE", default="", help="the voice with the tune, by its name")
    parser.add_argument(
        "--bars-per-chord",
        metavar="BARS",
        help="how many bars a chord lasts where words with chords don't say: 1, 1/2 for two chords a bar, 2",
    )
    add_options(parser, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """Import one tune, or a whole book."""
    from tercet.exchange.tunes import Choice, is_book, read_tune
    from tercet.exchange.words import plain_name
    from tercet.made_files import check_may_make

    target = Path(arguments.output)
    source = Path(arguments.tune)
    choice = Choice(
        arguments.which, arguments.part, arguments.voice, _bars_per_chord(arguments.bars_per_chord)
    )
    if target.is_dir():
        if is_book(source) and not arguments.which:
            return _import_book(source, target, choice, harmonise=arguments.harmonise)
        sheet = read_tune(source, choice)
        return _import_one(sheet, source, _free_name(target, plain_name(sheet.title) or "tune"), arguments)
    if target.suffix.lower() not in (".yaml", ".yml"):
        raise RequestError(
            f"{target}: a song's file name ends in .yaml, such as {target.stem or 'song'}.yaml; "
            f"if a folder is meant, make it first: {typed('mkdir', target)}"
        )
    check_may_make(target, replace=arguments.replace)
    return _import_one(read_tune(source, choice), source, target, arguments)


def _bars_per_chord(text: str | None) -> Fraction | None:
    """Return how many bars a chord lasts, where that is said."""
    from tercet.exchange.chordpro.sung import BARS_PER_CHORD

    if text is None:
        return None
    known = {str(bars): bars for bars in BARS_PER_CHORD}
    if text not in known:
        raise RequestError(
            f"--bars-per-chord must be {listed(known, 'or')} (got {text[:20]})", given=text[:20], meant="1"
        )
    return known[text]


def _import_one(sheet: LeadSheet, source: Path, target: Path, arguments: argparse.Namespace) -> int:
    for remark in _write(sheet, source, target, harmonise=arguments.harmonise, replace=arguments.replace):
        say(f"- {remark}")
    say(f"next: {typed('tercet', 'check', target)}")
    return 0


def _import_book(source: Path, folder: Path, choice: Choice, *, harmonise: bool) -> int:
    """Write every tune of a book; return 1 when one of them couldn't be."""
    from tercet.exchange import LeadSheet
    from tercet.exchange.tunes import read_book

    failed = 0
    for name, sheet in read_book(source, choice):
        try:
            if not isinstance(sheet, LeadSheet):
                raise sheet
            remarks = _write(sheet, source, _free_name(folder, name), harmonise=harmonise, thorough=False)
        except RequestError as error:
            failed += 1
            say(str(error))
            continue
        if remarks:
            say(f"{name}: {'; '.join(remarks)}")
    if failed:
        say(f"{counted(failed, 'tune')} left out")
    return 1 if failed else 0


def _write(
    sheet: LeadSheet,
    source: Path,
    target: Path,
    *,
    harmonise: bool,
    replace: bool = False,
    thorough: bool = True,
) -> tuple[str, ...]:
    from tercet.arranging.advice import first_look
    from tercet.exchange import imported_text
    from tercet.made_files import write_made

    text, song, remarks = imported_text(sheet, source.name, harmonise=harmonise)
    write_made(target, text.encode("utf-8"), maker=NAME, replace=replace, durable=True)
    put(target)
    look = first_look(song, thorough=thorough)
    return (*remarks, *(_reach_text(look, song, target) if look else ()))


def _reach_text(look: FirstLook, song: Song, target: Path) -> Iterator[str]:
    """Yield what is to be said and typed when no string has some notes of a tune."""
    check = typed("tercet", "check", target)
    yield (
        f"the tune goes from {look.lowest} to {look.highest}: {look.missing} of its {counted(look.notes, 'note')} "
        f"{'has' if look.missing == 1 else 'have'} no string on {song.tuning}, and are played and printed octaves away"
    )
    if look.semitones is not None:
        yield f"every note has a string in {look.key}, which suits best: {check} --transpose {look.semitones}"
    if look.tunings:
        yield f"every note has a string as written on {look.tunings[0]}: {check} --tuning {look.tunings[0]}"
    yield f"all keys and tunings, weighed: {typed('tercet', 'advise', target)}"


def _free_name(folder: Path, name: str) -> Path:
    """Return a path that isn't there yet: tunes of one title get figures."""
    for number in range(1, _MOST_OF_A_NAME + 1):
        path = folder / f"{name if number == 1 else f'{name}-{number}'}.yaml"
        if not path.exists():
            return path
    raise RequestError(f"{folder} has {_MOST_OF_A_NAME} songs called {name}: choose another folder")
