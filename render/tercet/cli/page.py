"""``tercet page``: the page on which students practise a song, and the list of a class's songs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from contextlib import redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import add_performance_options, add_replace_option, players, speeds
from tercet.cli.playing import playing_of, ready_song, show_problems
from tercet.cli.talk import Report, progress, put, say, say_left
from tercet.errors import RequestError
from tercet.kit.work_folder import work_folder
from tercet.printable import visible_line

if TYPE_CHECKING:
    from tercet.jobs.own_files import OwnFiles
    from tercet.publish.page import KitTrack, ListedSong, PageFiles, PageSound
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
    "without-tune",
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
    parser.add_argument(
        "--verify",
        action="store_true",
        help="read all files that are there through, whatever their dates say",
    )
    add_replace_option(parser)
    add_performance_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Make the pages of all songs, then their list."""
    from tercet.jobs import FolderStore
    from tercet.jobs.own_files import OwnFiles

    output = Path(arguments.output)
    names = _names(arguments.songs)
    arguments.speeds = arguments.speeds or speeds("100%" if arguments.one_file else "60%,80%,100%")
    if arguments.one_file and len(arguments.speeds) > 1:
        raise RequestError(
            f"--one-file holds one speed (got {len(arguments.speeds)}): name one with --speeds"
        )
    own = OwnFiles(FolderStore(output.absolute()), NAME, replace=arguments.replace)
    made: list[Path | None] = []
    entries = []
    for song, name, playing in zip(arguments.songs, names, _read(arguments), strict=True):
        show_problems(playing.arrangement)
        with progress(name) as report:
            if arguments.one_file:
                made.append(_one_file(arguments, playing, own, f"{name}.html", report))
            else:
                made.append(_folder(arguments, song, playing, own, name, report))
                entries.append(_entry(name, playing))
        _print_made(made[-1])
    if entries:
        made.append(_list(output, visible_line(arguments.title), entries, own))
        _print_made(made[-1])
        if made[-1]:
            say(f"open {made[-1]} in any browser: it needs no host and no net")
    return int(not any(made))


def _print_made(path: Path | None) -> None:
    """Print the name of a page, unless something of the user's stands in its place."""
    if path is not None:
        put(path)


def _names(songs: list[str]) -> list[str]:
    """Return what each song's folder or file is called, after its file; two songs never share one."""
    from tercet.tracks.recipes import slug

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


def _folder(
    arguments: argparse.Namespace, song: str, playing: Playing, own: OwnFiles, name: str, report: Report
) -> Path | None:
    """Make the folder of a song's page, and the kit that it plays; return the page, None if it isn't ours to make."""
    from tercet.publish.page import PageFiles, made_sound

    folder = Path(arguments.output) / name
    if folder.is_symlink():
        say_left([own.left(f"{name}/index.html")])
        return None
    if not arguments.no_kit:
        _ready_kit(arguments, song, folder)
    asked = _asked(arguments, playing, folder)
    files = PageFiles(own, name)
    if not arguments.replace and files.is_there(asked, verify=arguments.verify):
        return folder / "index.html"
    with work_folder(folder) as work:
        sound = made_sound(playing, arguments.speeds, files, work, report)
    if sound.anew:
        _show_notices(playing)
    report("writing", len(arguments.speeds), len(arguments.speeds))
    written = _write_folder(arguments, Path(song), playing, sound, files, folder)
    files.finish(asked)
    say_left(files.left)
    return folder / "index.html" if written else None


def _write_folder(
    arguments: argparse.Namespace,
    song: Path,
    playing: Playing,
    sound: PageSound,
    files: PageFiles,
    folder: Path,
) -> bool:
    """Write the sheet, unless ``tercet sheet`` put one there, and the page; return whether the page was written."""
    from tercet.cli.sheet import sheet_bytes
    from tercet.kit.page_tracks import files_to_take
    from tercet.publish.page import PagePlan, song_page

    sheet = f"{folder.name}.pdf"
    if arguments.replace or not files.is_of_another(sheet):
        files.write(sheet, sheet_bytes(playing.arrangement, ".pdf", left_handed=arguments.left_handed))
    elif (folder / sheet).stat().st_mtime < song.stat().st_mtime:
        say(
            f"{folder / sheet} stays as you made it, before the song was changed: make it again, or say --replace"
        )
    downloads = {
        group: [(path.relative_to(folder).as_posix(), path.stat().st_size) for path in paths]
        for group, paths in files_to_take(folder).items()
    }
    plan = PagePlan(
        playing.arrangement,
        sound,
        tracks=_tracks(folder),
        downloads=downloads,
        class_href="../index.html",
        left_handed=arguments.left_handed,
    )
    written = {name: files.write(name, data) for name, data in song_page(plan).items()}
    return written["index.html"]


def _tracks(folder: Path) -> tuple[KitTrack, ...]:
    """Return the tracks of the kit in a song's folder; a kit that can't be read is told, and counts as none."""
    from tercet.kit.page_tracks import read_kit

    try:
        return read_kit(folder)
    except RequestError as error:
        say(f"{error}. The page has no tracks until then")
        return ()


def _asked(arguments: argparse.Namespace, playing: Playing, folder: Path) -> str:
    """Return what stands for all that a page is made of: the song, how it is played, and the kit beside it."""
    from tercet import __version__
    from tercet.kit.manifest import MANIFEST
    from tercet.kit.page_tracks import files_to_take
    from tercet.tracks.track_files import digest

    kit = folder / MANIFEST
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


def _one_file(
    arguments: argparse.Namespace, playing: Playing, own: OwnFiles, name: str, report: Report
) -> Path | None:
    """Make a song's page as one file; return it, None if what is there must stay."""
    from tercet.publish.page import PagePlan, made_sound, song_page

    path = Path(arguments.output) / name
    if left := own.left(name):
        say_left([left])
        return None
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
    own.write(data, name)
    return path


def _show_notices(playing: Playing) -> None:
    """Say where the sound can't do what the song asks."""
    for notice in playing.notices():
        say(notice)


def _ready_kit(arguments: argparse.Namespace, song: str, folder: Path) -> None:
    """Make the recordings of a song's kit as MP3, unless its folder has a kit."""
    from tercet.cli import kit
    from tercet.kit.manifest import MANIFEST

    if (folder / MANIFEST).is_file() or any(folder.glob("*.mp3")):
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
    return written + [f"--{name}" for name in ("dry", "clear", "replace") if getattr(arguments, name)]


def _entry(name: str, playing: Playing) -> ListedSong:
    from tercet.publish.page import ListedSong

    song = playing.arrangement.song
    return ListedSong(f"{name}/index.html", song.title, (song.composer, str(song.key), str(song.meter)))


def _list(output: Path, title: str, entries: Sequence[ListedSong], own: OwnFiles) -> Path | None:
    """Write the list of the songs; return it, None if something of the user's stands in its place."""
    from tercet.publish.page import PageFiles, class_page

    files = PageFiles(own)
    written = {name: files.write(name, data) for name, data in class_page(title, entries).items()}
    files.finish()
    say_left(files.left)
    return output / "index.html" if written["index.html"] else None
