"""``tercet sounds``: the sounds there are and which one plays; writes the built-in one as a font, measures any."""

from __future__ import annotations

import argparse
import os
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tercet.cli.options import add_options
from tercet.cli.progress import Terminal
from tercet.cli.talk import put, put_json

if TYPE_CHECKING:
    from tercet.sound.sf2_reader import SoundFont
    from tercet.sound.soundfont_choice import ChosenSound, FoundFont

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "sounds"
HELP = "list the sounds that were found, say which one plays, measure one, write the built-in one as a font"
DESCRIPTION = (
    "List the built-in ukulele and the sound fonts that were found, what each has for this job, and which one plays. "
    "With --build, write the built-in ukulele as a sound font for use in other programs. With --report, measure a font "
    "for this job."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "--sound")
    parser.add_argument(
        "--json", action="store_true", help="print the list, or the report, as JSON for programs"
    )
    parser.add_argument("--build", action="store_true", help="make the built-in ukulele again")
    parser.add_argument("--small", action="store_true", help="with --build: a third of the size")
    parser.add_argument(
        "--report",
        nargs="?",
        const="",
        metavar="FONT",
        help="measure a font for this job, through FluidSynth (default: the sound that plays)",
    )
    parser.add_argument(
        "-o",
        dest="output",
        type=Path,
        metavar="FILE",
        help="with --build: the .sf2 to write (default: the user's cache); with --report: a picture, .svg",
    )
    add_options(parser, "--replace")


def run(arguments: argparse.Namespace) -> int:
    """List the fonts and the choice, build the built-in one, or report on one."""
    _check(arguments)
    if arguments.build:
        return _build(arguments)
    if arguments.report is not None:
        return _report(arguments)
    return _list(arguments)


def _check(arguments: argparse.Namespace) -> None:
    """Refuse options that don't go together."""
    from tercet.errors import RequestError

    if arguments.build and arguments.report is not None:
        raise RequestError("--build and --report are two different jobs: ask for one at a time")
    if arguments.small and not arguments.build:
        raise RequestError("--small goes with --build")
    if arguments.small and arguments.output is None:
        raise RequestError("--small needs a file to write: name it by -o, for instance -o ukulele.sf2")
    if arguments.output is not None:
        wanted = ".sf2" if arguments.build else ".svg"
        if not arguments.build and arguments.report is None:
            raise RequestError("-o goes with --build or --report")
        if arguments.output.suffix.lower() != wanted:
            raise RequestError(f"the file to write must end in {wanted} (got {arguments.output})")


def _build(arguments: argparse.Namespace) -> int:
    """Write the built-in ukulele to a file, or anew to the cache."""
    from tercet.kit.events import tell_preparing
    from tercet.made_files import check_may_make, write_made
    from tercet.sound.ukulele import FULL, SMALL, built_in_path, ready_built_in, ukulele_bytes

    with closing(Terminal()) as terminal:
        building = tell_preparing(terminal)
        if arguments.output is None:
            built_in_path().unlink(missing_ok=True)
            path = ready_built_in(building)
        else:
            path = arguments.output
            check_may_make(path, replace=arguments.replace)
            data = ukulele_bytes(SMALL if arguments.small else FULL, building)
            write_made(path, data, maker=NAME, replace=arguments.replace)
    put(path)
    return 0


def _chosen(asked: str | None) -> ChosenSound:
    """Return the sound that plays."""
    from tercet.sound.soundfont_choice import choose_sound

    return choose_sound(asked, None, None, os.environ)


def _as_font(chosen: ChosenSound) -> SoundFont:
    """Return a sound as a font that can be measured; the built-in ukulele is written as one if it isn't there yet."""
    from tercet.kit.events import tell_preparing
    from tercet.sound.sampler import BuiltInUkulele
    from tercet.sound.sf2_reader import SoundFont
    from tercet.sound.ukulele import PROGRAM, UKULELE_BANK, ready_built_in

    if not isinstance(chosen.sound, BuiltInUkulele):
        return chosen.sound
    with closing(Terminal()) as terminal:
        return SoundFont(ready_built_in(tell_preparing(terminal)), UKULELE_BANK, PROGRAM)


def _report(arguments: argparse.Namespace) -> int:
    """Measure a font and print what it is like; draw it where a picture is asked for."""
    from tercet.made_files import check_may_make, write_made
    from tercet.sound.soundfont_report import report_json, report_on, report_svg, report_text

    if arguments.output is not None:
        check_may_make(arguments.output, replace=arguments.replace)
    chosen = _chosen(arguments.report or arguments.sound)
    report = report_on(_as_font(chosen), f"{chosen.name}, preset {chosen.preset_name}")
    if arguments.output is not None:
        data = report_svg(report).encode()
        write_made(arguments.output, data, maker=NAME, replace=arguments.replace)
    if arguments.json:
        put_json(report_json(report))
    else:
        put(report_text(report))
    return 0


def _list(arguments: argparse.Namespace) -> int:
    """List the sounds and the choice, and say what is missing to play fonts."""
    from tercet.sound.sampler import BuiltInUkulele
    from tercet.sound.soundfont_choice import find_fonts
    from tercet.sound.ukulele import FONT_NAME

    chosen, lack = _chosen(arguments.sound), _lack_of_library()
    fonts = find_fonts(os.environ)
    path = None if isinstance(chosen.sound, BuiltInUkulele) else chosen.sound.path
    if arguments.json:
        put_json(_as_json(fonts, chosen, lack))
        return 0
    put(f"{'' if path else 'plays':<6} {FONT_NAME} (built in): plays anywhere, without a font or a library")
    for font in fonts:
        mark = "plays" if font.path == path else ""
        put(f"{mark:<6} {font.name} ({font.kind}, {font.size_bytes / 1e6:.1f} MB): {font.why}")
        put(f"       {font.path}")
    put(f"\n{chosen.name}, preset {chosen.preset_name}, plays: {chosen.why}")
    if lack:
        put(f"\n{lack}")
    return 0


def _lack_of_library() -> str:
    """Return what is missing to play sound fonts, and how to get it; empty if nothing is."""
    from tercet.errors import SynthesiserError
    from tercet.sound.library import load_library

    try:
        load_library()
    except SynthesiserError as error:
        return str(error)
    return ""


def _as_json(fonts: tuple[FoundFont, ...], chosen: ChosenSound, lack: str) -> dict[str, Any]:
    """Return the list and the choice for programs; the built-in ukulele has no path."""
    from tercet.sound.sampler import BuiltInUkulele

    font = None if isinstance(chosen.sound, BuiltInUkulele) else chosen.sound
    listed: list[dict[str, Any]] = [
        {
            "path": str(font.path),
            "name": font.name,
            "size_bytes": font.size_bytes,
            "kind": font.kind,
            "usable": font.usable,
            "why": font.why,
        }
        for font in fonts
    ]
    choice = {
        "name": chosen.name,
        "path": str(font.path) if font else None,
        "bank": font.bank if font else None,
        "program": font.program if font else None,
        "preset": chosen.preset_name,
        "why": chosen.why,
    }
    return {"chosen": choice, "fonts": listed, "missing": lack or None}
