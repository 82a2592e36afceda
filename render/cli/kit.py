"""``tercet kit``: all tracks and the MIDI file of one song or more."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from itertools import count, groupby, product
from pathlib import Path
from typing import TYPE_CHECKING

from render.cli.options import add_performance_options, names, several_players, speeds
from render.cli.playing import PlayedSet, played_sets, show_problems
from render.cli.talk import progress
from render.errors import RequestError

if TYPE_CHECKING:
    from fractions import Fraction

    from render.perform import Timeline
    from render.tracks import Recipe

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "kit"
HELP = "make all tracks and the MIDI file of one song or more"
DESCRIPTION = (
    "Make the demo, the tracks with a layer left out, the tracks of one layer alone, and a MIDI file. Each song gets a "
    "folder of its own in DIR; where several tunings or players are asked for, each set has one in that."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("songs", metavar="SONG", nargs="+", help="arrangement files")
    parser.add_argument(
        "-o", "--output", metavar="DIR", required=True, help="folder for the kits; made if missing"
    )
    parser.add_argument(
        "--tracks", type=names, metavar="A,B", help="only these tracks, such as demo,without-melody"
    )
    parser.add_argument(
        "--speeds", type=speeds, default="100%", metavar="60%,80%", help="a set for each speed"
    )
    parser.add_argument(
        "--formats", type=names, default="wav", metavar="wav,mp3", help="wav, flac, mp3, ogg, opus"
    )
    parser.add_argument(
        "--tuning",
        metavar="A,B",
        help="high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first); a set for each",
    )
    parser.add_argument(
        "--players",
        type=several_players,
        metavar="A,B",
        help="beginner, improving, free; a set for each, with a simpler part for beginners beside others",
    )
    add_performance_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Make the kit of each song."""
    from render.tracks import RECIPES, recipe_named
    from render.tracks.encoding import track_format

    recipes = tuple(map(recipe_named, arguments.tracks)) if arguments.tracks else RECIPES
    endings = tuple("." + name.lower().lstrip(".") for name in arguments.formats)
    for ending in endings:
        track_format(Path("track" + ending))
    folders = _folders(arguments.songs, Path(arguments.output))
    ready = _ready(arguments)
    for folder in folders:
        sets, count_in_bars = ready.pop(0)
        for one in sets:
            show_problems(one.playing.arrangement, one.name)
        made = _one_song(sets, count_in_bars, folder, recipes, endings, arguments)
        for place, files in groupby(made, key=lambda file: file[0].parent):
            print(f"{place}/")
            for path, length_s, purpose in files:
                print(f"  {path.name:<28} {_minutes(length_s):>5}  {_size(path):>8}  {purpose}")
    return 0


def _folders(songs: list[str], output: Path) -> tuple[Path, ...]:
    """Return a folder for each song, named after its file; two songs never share one."""
    from render.tracks.kit import slug

    folders = tuple(output / slug(Path(song).stem) for song in songs)
    for place, folder in enumerate(folders):
        if folder in folders[:place]:
            raise RequestError(
                f"{songs[folders.index(folder)]} and {songs[place]} would both go to {folder}: rename one of the files"
            )
    return folders


def _ready(arguments: argparse.Namespace) -> list[tuple[tuple[PlayedSet, ...], int]]:
    """Read and arrange all songs before any is rendered, and report the mistakes of all in one go."""
    ready = []
    refused = []
    for song in arguments.songs:
        try:
            ready.append(played_sets(argparse.Namespace(**{**vars(arguments), "song": song})))
        except RequestError as error:
            refused.append(str(error))
    if refused:
        raise RequestError("\n\n".join(refused))
    return ready


def _one_song(
    sets: Sequence[PlayedSet],
    count_in_bars: int,
    folder: Path,
    recipes: tuple[Recipe, ...],
    endings: tuple[str, ...],
    arguments: argparse.Namespace,
) -> list[tuple[Path, float, str]]:
    """Make one song's kit; return each file's path, length in seconds and purpose, in class order."""
    from render.exchange import midi_bytes
    from render.perform import lay_out
    from render.sound import SAMPLE_RATE_HZ
    from render.tracks.files import may_replace, write_bytes
    from render.tracks.kit import kit_files, speed_name, write_tracks

    def timeline_at(speed: Fraction) -> Timeline:
        return lay_out(sets[0].playing.arrangement, None, speed, count_in_bars)

    made: list[tuple[Path, float, str]] = []
    total = len(sets) * len(arguments.speeds) * (len(recipes) * len(endings) + 1)
    with progress(folder.name) as report:
        report("playing", 0, total)
        written = count(1)
        rooms_db = {speed: _shared_room_db(sets, timeline_at(speed)) for speed in arguments.speeds}
        for (name, playing), speed in product(((one.name, one.playing) for one in sets), arguments.speeds):
            timeline = timeline_at(speed)
            place = folder / name
            files = [file for ending in endings for file in kit_files(place, recipes, (speed,), ending, name)]
            midi = place / f"{folder.name}{speed_name(speed) and '-' + speed_name(speed)}.mid"
            for path in (midi, *(file.path for file in files)):
                may_replace(path)
            take = playing.take(timeline)
            stems = playing.stems(timeline)
            length_s = stems.length_frames / SAMPLE_RATE_HZ
            write_tracks(
                files,
                stems,
                playing,
                bits=arguments.bits,
                room_db=rooms_db[speed],
                done=lambda file: report(file.path.name, next(written), total),
            )
            made += [(file.path, length_s, file.recipe.purpose) for file in files]
            write_bytes(midi, midi_bytes(playing.arrangement, take))
            report(midi.name, next(written), total)
            made.append((midi, take.length_s, "all layers, for other programs"))
            if speed == arguments.speeds[-1]:
                playing.let_go()
    return sorted(made)


def _shared_room_db(sets: Sequence[PlayedSet], timeline: Timeline) -> float:
    """Return the highest gain that all sets of a kit have room for; only one set at a time is kept in memory."""
    if len(sets) == 1:
        return math.inf
    room_db = math.inf
    for one in sets:
        room_db = min(room_db, one.playing.room_db(timeline))
        one.playing.let_go()
    return room_db


def _minutes(length_s: float) -> str:
    return f"{int(length_s) // 60}:{int(length_s) % 60:02}"


def _size(path: Path) -> str:
    size = path.stat().st_size
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
