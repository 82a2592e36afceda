"""``tercet kit``: all tracks and the MIDI file of one song or more."""

from __future__ import annotations

import argparse
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from render.cli.options import add_performance_options, names, speeds
from render.cli.playing import played_song, show_notices, show_problems
from render.cli.talk import progress
from render.errors import RequestError

if TYPE_CHECKING:
    from render.perform import Timeline
    from render.tracks import Recipe
    from render.tracks.kit import Playing

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "kit"
HELP = "make all tracks and the MIDI file of one song or more"
DESCRIPTION = (
    "Make the demo, the tracks with a layer left out, the tracks of one layer alone, and a MIDI file. Each song gets a "
    "folder of its own in DIR."
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
        playing, whole = ready.pop(0)
        show_problems(playing.arrangement)
        made = _one_song(playing, whole, folder, recipes, endings, arguments)
        show_notices(playing)
        print(f"{folder}/")
        for path, length_s, purpose in made:
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


def _ready(arguments: argparse.Namespace) -> list[tuple[Playing, Timeline]]:
    """Read and arrange all songs before any is rendered, and report the mistakes of all in one go."""
    ready = []
    refused = []
    for song in arguments.songs:
        try:
            ready.append(played_song(argparse.Namespace(**{**vars(arguments), "song": song})))
        except RequestError as error:
            refused.append(str(error))
    if refused:
        raise RequestError("\n\n".join(refused))
    return ready


def _one_song(
    playing: Playing,
    whole: Timeline,
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

    made: list[tuple[Path, float, str]] = []
    total = len(arguments.speeds) * (len(recipes) * len(endings) + 1)
    with progress(folder.name) as report:
        report("playing", 0, total)
        written = count(1)
        for speed in arguments.speeds:
            timeline = lay_out(playing.arrangement, None, speed, whole.count_in_bars)
            files = [file for ending in endings for file in kit_files(folder, recipes, (speed,), ending)]
            midi = folder / f"{folder.name}{speed_name(speed) and '-' + speed_name(speed)}.mid"
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
                done=lambda file: report(file.path.name, next(written), total),
            )
            made += [(file.path, length_s, file.recipe.purpose) for file in files]
            write_bytes(midi, midi_bytes(playing.arrangement, take))
            report(midi.name, next(written), total)
            made.append((midi, take.length_s, "all layers, for other programs"))
    return sorted(made)


def _minutes(length_s: float) -> str:
    return f"{int(length_s) // 60}:{int(length_s) % 60:02}"


def _size(path: Path) -> str:
    size = path.stat().st_size
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
