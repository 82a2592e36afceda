"""``tercet kit``: all tracks and the MIDI file of one song or more."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from fractions import Fraction
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from tercet.audio_formats import format_names
from tercet.cli.kit_defaults import KitDefaults, kit_defaults, own_tracks_of, songs_among
from tercet.cli.options import (
    add_performance_options,
    add_replace_option,
    add_track_options,
    count_in_of,
    names,
    several_players,
    speeds,
)
from tercet.cli.playing import ReadySet, ready_sets, show_problems
from tercet.cli.talk import counted, progress, put, say, say_left
from tercet.errors import RequestError

if TYPE_CHECKING:
    from tercet.jobs import Place, Store
    from tercet.kit.song_kit import SongMade, SongOrder
    from tercet.tracks import Recipe
    from tercet.tracks.track_files import TrackOrder

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "kit"
HELP = "make all tracks and the MIDI file of one song or more"
DESCRIPTION = (
    "Make every track that a class takes home, a MIDI file, and kit.json, which tells what is in each. Each song gets "
    "a folder of its own in DIR; where several tunings or players are asked for, each set has one in that. What is "
    "there already and hasn't changed is kept."
)

MANY_SONGS = 2
"""From so many songs a worker on, each song is one job; fewer are split up."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("songs", metavar="SONG", nargs="*", help="arrangement files")
    parser.add_argument(
        "-o",
        "--output",
        metavar="DIR",
        help="folder for the kits, made if missing; or an address such as s3://…",
    )
    parser.add_argument(
        "--list", action="store_true", help="explain each track in a sentence, and make nothing"
    )
    parser.add_argument(
        "--tracks", type=names, metavar="A,B", help="only these tracks, such as demo,echo (default: all)"
    )
    parser.add_argument("--bars", metavar="BARS", help="only these bars, as in tercet render")
    parser.add_argument(
        "--speeds", type=speeds, metavar="60%,80%", help="all tracks at each speed (default 100%%)"
    )
    parser.add_argument(
        "--formats", type=names, metavar="wav,mp3", help=f"{', '.join(format_names())} (default wav)"
    )
    parser.add_argument(
        "--tuning",
        type=names,
        metavar="A,B",
        help="high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first); a set for each",
    )
    parser.add_argument(
        "--players",
        type=several_players,
        metavar="A,B",
        help="beginner, improving, free; a set for each, with a simpler part for beginners beside others",
    )
    parser.add_argument("--jobs", type=int, metavar="N", help="processes to use (default: one a processor)")
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="a Dask cluster to use instead, such as tcp://10.0.0.5:8786"
    )
    parser.add_argument(
        "--verify",
        action="store_true",
        help="read all files that are there through, whatever their dates say",
    )
    add_replace_option(parser)
    add_track_options(parser)
    add_performance_options(parser)
    parser.set_defaults(
        among=()
    )  # what another command makes where no tracks are asked for, if it makes sense


def run(arguments: argparse.Namespace) -> int:
    """Make the kit of each song."""
    if arguments.list:
        return _list(arguments.songs)
    if not arguments.songs or not arguments.output:
        raise RequestError("name one song or more, and a folder: tercet kit SONG.yaml -o DIR")
    from tercet.jobs import FolderStore, open_place, store_at
    from tercet.kit.existing import asked_key, complete_kit
    from tercet.kit.work_folder import remove_left

    arguments.songs = songs_among(arguments.songs)
    place = open_place(arguments.jobs, arguments.cluster)
    store = store_at(arguments.output)
    if isinstance(store, FolderStore):
        remove_left(store.folder)
    wanted = []
    for song, folder in zip(arguments.songs, _folders(arguments.songs), strict=True):
        asked = asked_key(arguments, song)
        manifest = complete_kit(store, folder, asked, verify=arguments.verify)
        if manifest is None:
            wanted.append((song, folder, asked))
        else:
            _tell_files(arguments.output, folder, manifest["files"])
            say(f"{manifest['title']}: {counted(len(manifest['files']), 'file')}, none made now")
    return _make(arguments, wanted, store, place) if wanted else 0


def _make(
    arguments: argparse.Namespace, wanted: Sequence[tuple[str, str, str]], store: Store, place: Place
) -> int:
    """Make the kits of songs (file, folder, what is asked for) that aren't complete; return the exit code."""
    from tercet.cli.kit_sense import sensible
    from tercet.jobs import FolderStore, Job
    from tercet.kit.tasks import load_all
    from tercet.kit.work_folder import work_folder
    from tercet.tracks import RECIPES

    beside = store.folder if isinstance(store, FolderStore) else None
    with ExitStack() as opened:
        opened.enter_context(place)
        place.get_ready(Job(load_all, None, "starting"), len(wanted) * len(arguments.tracks or RECIPES))
        ready = _ready(arguments, [song for song, _, _ in wanted])
        work = opened.enter_context(work_folder(beside))
        orders = [
            sensible(
                _order(arguments, song, sets, defaults, folder, asked, store, work).made_in(place),
                arguments.tracks,
            )
            for (song, folder, asked), (sets, defaults) in zip(wanted, ready, strict=True)
        ]
        for sets, _ in ready:
            for one in sets:
                show_problems(one.arrangement, one.title)
        far = beside is None and arguments.cluster is not None
        failures = []
        left = False
        for order, made in _made(orders, place, whole=far):
            _tell(arguments.output, order, made)
            failures += made.failures
            left = left or (bool(made.left) and (arguments.verify or not made.entries))
    return _tell_failures(failures) or int(left)


def _list(songs: Sequence[str]) -> int:
    """Explain each track in a sentence, those of the songs' own too."""
    from tercet.song import read_class_beside, read_song
    from tercet.tracks import RECIPES
    from tercet.tracks.recipes import own_recipes

    own = [
        recipe
        for song in (songs_among(songs) if songs else ())
        for recipe in own_recipes(own_tracks_of(read_song(Path(song)), read_class_beside(song)), song)
    ]
    for recipe in (*RECIPES, *dict.fromkeys(own)):
        put(f"{recipe.name:<20} {recipe.purpose}")
    return 0


def _folders(songs: Sequence[str]) -> tuple[str, ...]:
    """Return a folder's name for each song, after its file; two songs never share one."""
    from tercet.tracks.recipes import slug

    folders = tuple(slug(Path(song).stem) for song in songs)
    for place, folder in enumerate(folders):
        if folder in folders[:place]:
            raise RequestError(
                f"{songs[folders.index(folder)]} and {songs[place]} would both go to {folder}/: rename one of the files"
            )
    return folders


def _ready(
    arguments: argparse.Namespace, songs: Sequence[str]
) -> list[tuple[tuple[ReadySet, ...], KitDefaults]]:
    """Read and arrange all songs before any is rendered, and report the mistakes of all in one go."""
    ready = []
    refused = []
    for song in songs:
        try:
            ready.append(_ready_song(arguments, song))
        except RequestError as error:
            refused.append(str(error))
    if refused:
        raise RequestError("\n\n".join(dict.fromkeys(refused)))
    return ready


def _ready_song(arguments: argparse.Namespace, song: str) -> tuple[tuple[ReadySet, ...], KitDefaults]:
    """Return the sets of a song, and what the options, the song and its class file ask for."""
    from tercet.song import read_class_beside, read_song

    defaults = kit_defaults(read_class_beside(song), read_song(Path(song)), arguments)
    asked = {"song": song, "tuning": defaults.tuning, "players": defaults.players}
    return ready_sets(argparse.Namespace(**{**vars(arguments), **asked})), defaults


def _order(
    arguments: argparse.Namespace,
    song_file: str,
    sets: Sequence[ReadySet],
    defaults: KitDefaults,
    folder: str,
    asked: str,
    store: Store,
    work: Path,
) -> SongOrder:
    """Return what is asked for of one song."""
    from tercet.kit.song_kit import SongOrder
    from tercet.tracks.track_files import SetOrder

    song = sets[0].arrangement.song
    count_in_bars = count_in_of(arguments.count_in, song)
    orders = tuple(
        SetOrder(
            one.arrangement,
            one.font,
            tuple(_tracks(arguments, song_file, one, PurePosixPath(folder) / one.folder_name, defaults)),
            work / f"{folder}-{number}",
            seed=arguments.seed,
            dry=arguments.dry,
            clear=arguments.clear,
            bits=arguments.bits,
            title=one.title,
        )
        for number, one in enumerate(sets)
    )
    set_folders = tuple(one.folder_name for one in sets)
    name = Path(song_file).name
    return SongOrder(
        folder,
        name,
        orders,
        set_folders,
        defaults.speeds,
        count_in_bars,
        store,
        asked,
        replace=arguments.replace,
        verify=arguments.verify,
    )


def _tracks(
    arguments: argparse.Namespace,
    song_file: str,
    one: ReadySet,
    place: PurePosixPath,
    defaults: KitDefaults,
) -> Iterator[TrackOrder]:
    """Yield the tracks of a set."""
    from tercet.sound.encoding import track_format
    from tercet.tracks import RECIPES, recipe_named
    from tercet.tracks.practice_forms import TrackOptions
    from tercet.tracks.recipes import file_stem, own_recipes
    from tercet.tracks.track_files import TrackOrder

    song = one.arrangement.song
    own = own_recipes(defaults.tracks, song_file)
    everything = (*RECIPES, *own)
    recipes: Sequence[Recipe] = everything
    if arguments.tracks or arguments.among:
        recipes = [recipe_named(name, own) for name in dict.fromkeys(arguments.tracks or arguments.among)]
    endings = tuple(dict.fromkeys("." + name.lower().lstrip(".") for name in defaults.formats))
    for ending in endings:
        track_format(Path("track" + ending))
    for speed in defaults.speeds:
        for recipe in recipes:
            if recipe.speeds and speed != defaults.speeds[0]:
                continue
            pace = Fraction(1) if recipe.speeds else speed
            options = TrackOptions(
                speed=pace,
                bars="" if recipe.piece == "tune-up" else arguments.bars or "",
                count_in_bars=count_in_of(arguments.count_in, song),
                click=arguments.click,
                guide=arguments.guide,
            )
            number = everything.index(recipe) + 1
            stem = file_stem(recipe, number, pace)
            yield TrackOrder(
                recipe, options, tuple(str(place / (stem + ending)) for ending in endings), number
            )


def _made(orders: Sequence[SongOrder], place: Place, *, whole: bool) -> Iterator[tuple[SongOrder, SongMade]]:
    """Make the kits; where there are many songs, or always if `whole`, each song is a job, else each is split up."""
    from tercet.jobs import Job, run_jobs
    from tercet.kit.song_kit import SongMade, make_kit, make_whole_song

    if place.workers == 1 or (len(orders) < MANY_SONGS * place.workers and not whole):
        for order in orders:
            with progress(order.title) as report:
                made = make_kit(order, place, report)
            yield order, made
        return
    with progress("kits") as report:
        jobs = [Job(make_whole_song, order, order.title) for order in orders]
        for done, outcome in enumerate(run_jobs(jobs, place), 1):
            report(outcome.job.name, done, len(orders))
            made = outcome.result or SongMade()
            if outcome.failure is not None:
                made.failures.append(
                    (f"{outcome.job.name}: {outcome.failure.message}", outcome.failure.exit_code)
                )
            yield outcome.job.argument, made


def _tell(output: str, order: SongOrder, made: SongMade) -> None:
    """Say what came of a song."""
    for notice in made.notices:
        say(notice)
    _tell_files(output, order.folder, made.entries)
    say_left(made.left)
    made_now, there = len(made.made), len(made.entries)
    say(
        f"{order.title}: {counted(there, 'file')}, {made_now or 'none'} made now"
        if there
        else f"{order.title}: nothing made"
    )


def _tell_failures(failures: Sequence[tuple[str, int]]) -> int:
    """Say at the end, all together, what couldn't be made; return the exit code."""
    if failures:
        say(f"{counted(len(failures), 'thing')} couldn't be made; all others are there:")
        for message, _ in failures:
            say(f"  {message}")
    return max((code for _, code in failures), default=0)


def _tell_files(output: str, folder: str, files: Sequence[dict[str, Any]]) -> None:
    """Print a row for each file of a song."""
    base = str(output).rstrip("/")
    listed = sorted(files, key=lambda entry: (str(PurePosixPath(entry["file"]).parent), entry["file"]))
    for parent, entries in groupby(listed, key=lambda entry: PurePosixPath(entry["file"]).parent):
        place = PurePosixPath(folder) / parent
        put(f"{base}/{place}/")
        for entry in entries:
            name = PurePosixPath(entry["file"]).name
            put(
                f"  {name:<28} {_minutes(entry['length_s']):>5}  {_size(entry['bytes']):>8}  {entry['purpose']}"
            )


def _minutes(length_s: float) -> str:
    return f"{int(length_s) // 60}:{int(length_s) % 60:02}"


def _size(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
