"""``tercet page``: the page on which students practise a song, and the list of a class's songs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from contextlib import redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import add_performance_options, players, speeds
from tercet.cli.playing import playing_of, ready_song, show_problems
from tercet.cli.talk import Report, progress, put, say
from tercet.cli.work_folder import work_folder
from tercet.errors import RequestError
from tercet.printable import visible_line

if TYPE_CHECKING:
    from tercet.publish.page import SongEntry
    from tercet.tracks.playing import Playing

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "page"
HELP = "make the page on which students practise, for one song or more"
DESCRIPTION = (
    "Make a page for each song that plays it in any browser: each layer near, far or out, slower, bar by bar, the "
    "music following. Each song gets a folder of its own in DIR, and DIR a list of them. It needs no host and no net: "
    "open DIR/index.html. With --one-file each song is a single file to send by mail."
)

TRACKS = (
    "tune-up",
    "demo",
    "chords",
    "echo",
    "slow",
    "learn",
    "without-melody",
    "without-strums",
    "turns-rolls",
    "turns-phrases",
    "contrast",
)
"""The tracks that a page makes where there is no kit yet; `tercet kit` makes all."""

MOST_BYTES_OF_ONE_FILE = 8_000_000
"""What a mail takes along."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("songs", metavar="SONG", nargs="+", help="arrangement files")
    parser.add_argument(
        "-o", "--output", metavar="DIR", required=True, help="folder for the pages; made if missing"
    )
    parser.add_argument(
        "--one-file", action="store_true", help="each song as one HTML file, at one speed, up to 8 MB"
    )
    parser.add_argument(
        "--speeds",
        type=speeds,
        metavar="60%,80%,100%",
        help="speeds to choose from (default 60%%,80%%,100%%; with --one-file 100%%)",
    )
    parser.add_argument("--title", default="", metavar="TEXT", help="title of the list of songs")
    parser.add_argument(
        "--no-kit", action="store_true", help="don't make the kit's recordings; a kit that is there is used"
    )
    parser.add_argument("--left-handed", action="store_true", help="mirror the shapes")
    parser.add_argument(
        "--tuning",
        metavar="NAME",
        help="high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first)",
    )
    parser.add_argument(
        "--players", type=players, metavar="NAME", help="who plays: beginner, improving or free"
    )
    add_performance_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Make the pages of all songs, then their list."""
    output = Path(arguments.output)
    names = _names(arguments.songs)
    arguments.speeds = arguments.speeds or speeds("100%" if arguments.one_file else "60%,80%,100%")
    if arguments.one_file and len(arguments.speeds) > 1:
        raise RequestError(
            f"--one-file holds one speed (got {len(arguments.speeds)}): name one with --speeds"
        )
    entries = []
    for song, name, playing in zip(arguments.songs, names, _read(arguments), strict=True):
        show_problems(playing.arrangement)
        with progress(name) as report:
            if arguments.one_file:
                put(_one_file(arguments, playing, output / f"{name}.html", report))
            else:
                put(_folder(arguments, song, playing, output / name, report))
                entries.append(_entry(name, playing))
    if entries:
        put(_list(output, visible_line(arguments.title), entries))
        say(f"open {output / 'index.html'} in any browser: it needs no host and no net")
    return 0


def _names(songs: list[str]) -> list[str]:
    """Return what each song's folder or file is called, after its file; two songs never share one."""
    from tercet.tracks.titles import slug

    names = [slug(Path(song).stem) for song in songs]
    for place, name in enumerate(names):
        if name in names[:place]:
            first = songs[names.index(name)]
            raise RequestError(
                f"{first} and {songs[place]} would both become {name}: rename one of the files"
            )
    return names


def _read(arguments: argparse.Namespace) -> list[Playing]:
    """Read and arrange all songs before any is rendered, and report the mistakes of all in one go."""
    playings, refused = [], []
    for song in arguments.songs:
        try:
            asked = argparse.Namespace(**{**vars(arguments), "song": song})
            playings.append(playing_of(asked, ready_song(asked)))
        except RequestError as error:
            refused.append(str(error))
    if refused:
        raise RequestError("\n\n".join(refused))
    return playings


def _folder(arguments: argparse.Namespace, song: str, playing: Playing, folder: Path, report: Report) -> Path:
    """Make the folder of a song's page, and the kit that it plays."""
    from tercet.cli.sheet import write_sheet
    from tercet.publish.page import (
        FOLDER,
        PagePlan,
        files_to_take,
        made_sound,
        note_page,
        page_is_there,
        read_kit,
        song_page,
    )
    from tercet.tracks.files import write_bytes

    if not arguments.no_kit:
        _ready_kit(arguments, song, folder)
    asked = _asked(arguments, playing, folder)
    if page_is_there(folder / FOLDER, asked):
        return folder / "index.html"
    with work_folder(folder) as work:
        sound = made_sound(playing, arguments.speeds, folder / FOLDER, work, report)
    if sound.anew:
        _show_notices(playing)
    report("writing", len(arguments.speeds), len(arguments.speeds))
    write_sheet(playing.arrangement, folder / f"{folder.name}.pdf", left_handed=arguments.left_handed)
    downloads = {
        group: [(path.relative_to(folder).as_posix(), path.stat().st_size) for path in paths]
        for group, paths in files_to_take(folder).items()
    }
    plan = PagePlan(
        playing.arrangement,
        sound,
        tracks=read_kit(folder),
        downloads=downloads,
        class_href="../index.html",
        left_handed=arguments.left_handed,
    )
    files = song_page(plan)
    for name, data in files.items():
        write_bytes(folder / name, data)
    note_page(folder / FOLDER, asked, [f"{folder.name}.pdf", *files])
    return folder / "index.html"


def _asked(arguments: argparse.Namespace, playing: Playing, folder: Path) -> str:
    """Return what stands for all that a page is made of: the song, how it is played, and the kit beside it."""
    from tercet import __version__
    from tercet.publish.page import KIT_FILE, files_to_take
    from tercet.tracks.keys import digest

    kit = folder / KIT_FILE
    return digest(
        __version__,
        playing.arrangement,
        playing.sound_identity(),
        (arguments.seed, arguments.dry, arguments.clear, arguments.speeds, arguments.left_handed),
        kit.read_bytes() if kit.is_file() else b"",
        [
            (str(path), path.stat().st_size)
            for paths in files_to_take(folder).values()
            for path in paths
            if path.suffix != ".pdf"
        ],
    )


def _one_file(arguments: argparse.Namespace, playing: Playing, path: Path, report: Report) -> Path:
    """Make a song's page as one file."""
    from tercet.publish.page import PagePlan, made_sound, song_page
    from tercet.tracks.files import write_bytes

    with work_folder(path.parent) as work:
        sound = made_sound(playing, arguments.speeds, None, work, report)
    _show_notices(playing)
    plan = PagePlan(playing.arrangement, sound, left_handed=arguments.left_handed, one_file=True)
    data = song_page(plan)["index.html"]
    if len(data) > MOST_BYTES_OF_ONE_FILE:
        raise RequestError(
            f"{path} would have {len(data) / 1e6:.1f} MB, and one file holds {MOST_BYTES_OF_ONE_FILE / 1e6:.0f}: "
            f"choose a faster speed, or leave --one-file away and send the folder"
        )
    write_bytes(path, data)
    return path


def _show_notices(playing: Playing) -> None:
    """Say where the sound can't do what the song asks."""
    for notice in playing.notices():
        say(notice)


def _ready_kit(arguments: argparse.Namespace, song: str, folder: Path) -> None:
    """Make the recordings of a song's kit as MP3, unless its folder has a kit."""
    from tercet.cli import kit
    from tercet.publish.page import KIT_FILE

    if (folder / KIT_FILE).is_file() or any(folder.glob("*.mp3")):
        return
    parser = argparse.ArgumentParser()
    kit.add_arguments(parser)
    asked = parser.parse_args([song, "-o", str(folder.parent), "--formats", "mp3", *_passed_on(arguments)])
    asked.among = TRACKS
    with redirect_stdout(sys.stderr):
        kit.run(asked)


def _passed_on(arguments: argparse.Namespace) -> list[str]:
    """Return the options that change how a song is played, as they are written on a command line."""
    valued = ("tuning", "players", "transpose", "count_in", "sound", "feel", "front", "seed")
    asked = {name: getattr(arguments, name) for name in valued}
    written = [f"--{name.replace('_', '-')}={value}" for name, value in asked.items() if value is not None]
    return written + [f"--{name}" for name in ("dry", "clear") if getattr(arguments, name)]


def _entry(name: str, playing: Playing) -> SongEntry:
    from tercet.publish.page import SongEntry

    song = playing.arrangement.song
    return SongEntry(f"{name}/index.html", song.title, (song.composer, str(song.key), str(song.meter)))


def _list(output: Path, title: str, entries: Sequence[SongEntry]) -> Path:
    """Write the list of the songs."""
    from tercet.publish.page import class_page
    from tercet.tracks.files import write_bytes

    for name, data in class_page(title, entries).items():
        write_bytes(output / name, data)
    return output / "index.html"
