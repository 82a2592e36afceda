"""``tercet sheet``: the song as printed music for the class."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from render.cli.options import one_tuning_of, tuned_and_moved
from render.cli.talk import say
from render.errors import RequestError

if TYPE_CHECKING:
    from render.publish.sheet_pages import Paper

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "sheet"
HELP = "print a song for the class: staff, tab and words, as PDF or SVG"
DESCRIPTION = (
    "Print a song: what is in front and what is behind, the shapes used, staff and tab with words, every bar once, and "
    "how to practise it. The ending of FILE chooses its kind: .pdf has pages, .svg is one long picture."
)

_ENDINGS = (".pdf", ".svg")
_PAPERS: dict[str, Paper] = {"a4": "A4", "letter": "Letter"}
_SIGNS_SHOWN = 12


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write: .pdf or .svg")
    parser.add_argument("--paper", metavar="NAME", default="A4", help="A4 or Letter (A4 without it)")
    parser.add_argument("--large", action="store_true", help="larger: tab and words only")
    parser.add_argument("--left-handed", action="store_true", help="mirror the chord diagrams")
    parser.add_argument(
        "--transpose", metavar="N", type=int, default=0, help="semitones up, or down with a minus"
    )
    parser.add_argument("--tuning", metavar="NAME", help="high-g, low-g, baritone, or four notes")
    parser.add_argument("--replace", action="store_true", help="replace FILE when it is there already")


def run(arguments: argparse.Namespace) -> int:
    """Print one song."""
    from render.arrange import arrange
    from render.publish.fonts import without_font
    from render.publish.sheet_pages import SheetLook, sheet_of
    from render.song import read_song
    from render.tracks.files import write_bytes

    path = Path(arguments.output)
    paper = _paper(arguments.paper)
    _refuse(path, replace=arguments.replace)
    asked = one_tuning_of(arguments.tuning) if arguments.tuning else None
    song, tuning, dropped = tuned_and_moved(read_song(arguments.song), arguments.transpose, asked)
    if dropped:
        say(f"pins are for the song as written and were dropped: {', '.join(dropped)}")
    look = SheetLook(paper if path.suffix.lower() == ".pdf" else None, arguments.large, arguments.left_handed)
    sheet = sheet_of(arrange(song, tuning), look)
    if path.suffix.lower() == ".pdf":
        from render.publish.sheet_pdf import sheet_pdf

        data = sheet_pdf(sheet)
    else:
        from render.publish.sheet_svg import sheet_svg

        data = sheet_svg(sheet).encode()
    write_bytes(path, data)
    print(path)
    lacking = without_font(sheet.texts)
    if lacking:
        shown = " ".join(lacking[:_SIGNS_SHOWN]) + (" …" if len(lacking) > _SIGNS_SHOWN else "")
        say(
            f"{path}: no font here has {shown}, so boxes stand in their place; "
            f'for Chinese, Japanese and Korean: pip install "tercet[cjk]"'
        )
    return 0


def _paper(name: str) -> Paper:
    """Return the paper of a name; `RequestError` for one that isn't known."""
    if name.lower() not in _PAPERS:
        raise RequestError(f"--paper {name}: the papers are {' and '.join(_PAPERS.values())}")
    return _PAPERS[name.lower()]


def _refuse(path: Path, *, replace: bool) -> None:
    """Refuse what can't be written, before any song is read."""
    from render.tracks.files import may_replace

    ending = path.suffix.lower()
    if ending not in _ENDINGS:
        raise RequestError(
            f"{path} ends in {ending or 'nothing'}: a sheet's name ends in {' or '.join(_ENDINGS)}, "
            f"such as {path.with_suffix('.pdf').name}"
        )
    if may_replace(path) and not replace:
        raise RequestError(
            f"{path} is there already, and stays as it is: choose another name, or say --replace"
        )
