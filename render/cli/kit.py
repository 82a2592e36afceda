"""``tercet kit``: all tracks and the MIDI file of one song or more."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count, groupby, product
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

from render.cli.options import add_performance_options, names, several_players, speeds
from render.cli.playing import PlayedSet, played_sets, show_notices, show_problems
from render.cli.talk import progress
from render.errors import RequestError

if TYPE_CHECKING:
    from fractions import Fraction

    from render.perform import Timeline
    from render.sound import Stems
    from render.tracks import Recipe
    from render.tracks.kit import TrackFile

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

Made: TypeAlias = tuple[Path, float, str]

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
            show_problems(one.playing.arrangement, one.title)
        order = _Order(folder, recipes, endings, arguments.bits)
        made = _one_song(sets, count_in_bars, order, arguments.speeds)
        for one in sets:
            show_notices(one.playing, one.title)
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


@dataclass(frozen=True, slots=True)
class _Order:
    """What is made of each set of a song, and where."""

    folder: Path
    recipes: tuple[Recipe, ...]
    endings: tuple[str, ...]
    bits: Literal[16, 24]

    def tracks(self, one: PlayedSet, speed: Fraction) -> list[TrackFile]:
        """Return the tracks of a set at one speed."""
        from render.tracks.kit import kit_files

        place = self.folder / one.folder_name
        return [
            file
            for ending in self.endings
            for file in kit_files(place, self.recipes, (speed,), ending, one.title)
        ]

    def midi(self, one: PlayedSet, speed: Fraction) -> Path:
        """Return the MIDI file of a set at one speed."""
        from render.tracks.kit import speed_name

        name = "-".join(filter(None, [self.folder.name, speed_name(speed)]))
        return self.folder / one.folder_name / f"{name}.mid"

    def write(
        self,
        one: PlayedSet,
        timeline: Timeline,
        stems: Stems,
        gains_db: Mapping[float, float],
        done: Callable[[Path], None],
    ) -> list[Made]:
        """Write the files of a set over one timeline; return each one's path, length in seconds and purpose."""
        from render.exchange import midi_bytes
        from render.sound import SAMPLE_RATE_HZ
        from render.tracks.files import write_bytes
        from render.tracks.kit import write_tracks

        speed = timeline.spans[0].speed
        files, midi = self.tracks(one, speed), self.midi(one, speed)
        write_tracks(
            files,
            stems,
            one.playing,
            bits=self.bits,
            gains_db=gains_db,
            done=lambda file: done(file.path),
        )
        take = one.playing.take(timeline)
        write_bytes(midi, midi_bytes(one.playing.arrangement, take))
        done(midi)
        length_s = stems.length_frames / SAMPLE_RATE_HZ
        return [
            *((file.path, length_s, file.recipe.purpose) for file in files),
            (midi, take.length_s, "all layers, for other programs"),
        ]


def _one_song(
    sets: Sequence[PlayedSet], count_in_bars: int, order: _Order, speeds: Sequence[Fraction]
) -> list[Made]:
    """Make one song's kit; return each file's path, length in seconds and purpose, set by set in class order."""
    from render.perform import lay_out
    from render.tracks.encoding import track_format
    from render.tracks.files import may_replace
    from render.tracks.sets import play_each

    paths = []
    for one, speed in product(sets, speeds):
        paths += [order.midi(one, speed), *(file.path for file in order.tracks(one, speed))]
    for path in paths:
        may_replace(path)
    ceilings = {track_format(Path("track" + ending)).encode_ceiling_dbtp for ending in order.endings}
    made: list[Made] = []
    with progress(order.folder.name) as report:
        report("playing", 0, len(paths))
        written = count(1)

        def done(path: Path) -> None:
            report(path.relative_to(order.folder).as_posix(), next(written), len(paths))

        def write(timeline: Timeline, index: int, stems: Stems, gains_db: Mapping[float, float]) -> None:
            made.extend(order.write(sets[index], timeline, stems, gains_db, done))

        for speed in speeds:
            timeline = lay_out(sets[0].playing.arrangement, None, speed, count_in_bars)
            play_each([one.playing for one in sets], timeline, ceilings, partial(write, timeline))
    return sorted(made)


def _minutes(length_s: float) -> str:
    return f"{int(length_s) // 60}:{int(length_s) % 60:02}"


def _size(path: Path) -> str:
    size = path.stat().st_size
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
