"""Whether marks, ``--front`` and ``--flat`` are what is measured, and whether songs are loud enough; see README.md.

Run as ``.venv/bin/python benchmarks/levels.py [FONT…]``. Everything is made by the command and measured in the files it
leaves, by `tests.measure`, which imports nothing from `tercet`: the K-weighted 400 ms of each gesture of a layer alone,
chops left out. Ends with 1 if a figure lies outside its aim.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from measuring import ROOT, Aims, asked, counted, font_of_pretty_midi, parser_of, run, song_to_time, tercet

sys.path.insert(0, str(ROOT))

from tests.measure.audio import read_track
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs
from tests.measure.marks import over_marks_db, struck
from tests.measure.midi import read_with_mido
from tests.measure.song_text import read_song_text

FRONT_LU = 9
TRACKS = ("demo", "only-melody", "only-strums")
LOUD_ENOUGH_LUFS = {"": -18.0, "--loud": -16.0}
"""Aims: how loud a demo of the built-in ukulele is, on average over our songs."""


@dataclass(frozen=True)
class Figures:
    """What is measured of one song in one sound, in LU.

    Parameters
    ----------
    over_marks
        How much further the melody is in front of the strums than their own marks say, each gesture against its mark.
    medians
        How far the median gesture of the melody lies above that of the strums, wherever in the song each plays.
    front
        The same with ``--front 9``.
    flat
        The same with ``--flat``.
    flat_louder
        How much louder the flat track is than the demo.
    """

    over_marks: float
    medians: float
    front: float
    flat: float
    flat_louder: float

    def within_aims(self) -> bool:
        """Whether all that is promised is kept; the medians of a whole song aren't, since its marks change."""
        return (
            abs(self.over_marks) <= 1.0
            and abs(self.front - FRONT_LU) <= 0.5
            and abs(self.flat) <= 0.5
            and abs(self.flat_louder) <= 0.5
        )


def main() -> int:
    """Make every song in every sound three ways, and print what is measured."""
    parser = parser_of("Measure the levels of every song in several sound fonts.", 1)
    parser.add_argument(
        "fonts", metavar="FONT", nargs="*", help="sound fonts (default: the one inside pretty_midi's package)"
    )
    given = asked(parser)
    with tempfile.TemporaryDirectory() as folder:
        songs = (
            [song_to_time(Path(folder), short=True)]
            if given.short
            else sorted((ROOT / "songs").glob("*.yaml"))
        )
        return _measure(songs, given.fonts or [str(font_of_pretty_midi())], judged=not given.short)


def _measure(songs: Sequence[Path], fonts: Sequence[str], *, judged: bool) -> int:
    print("| sound | song | off the marks | medians | front 9 | flat | flat − demo |")
    print("|---|---|---|---|---|---|---|")
    missed = measured = 0
    for font in fonts:
        for song in songs:
            with tempfile.TemporaryDirectory() as folder:
                figures = _figures(song, font, Path(folder))
            missed += not figures.within_aims()
            measured += 1
            print(
                f"| {Path(font).stem[:20]} | {song.stem} | {figures.over_marks:+.2f} | {figures.medians:.2f} "
                f"| {figures.front:.2f} | {figures.flat:+.2f} | {figures.flat_louder:+.2f} |"
                f"{'' if figures.within_aims() else ' missed'}",
                flush=True,
            )
    counted("songs measured", measured)
    aims, of_songs = Aims(), Aims(judged=judged)
    aims.say("songs off their marks", missed, most=0)
    for option, least in LOUD_ENOUGH_LUFS.items():
        loudness = [_demo_lufs(song, *filter(None, [option])) for song in songs]
        name = f"demos of our songs{option and f' with {option}'}, on average, LUFS"
        of_songs.say(name, float(np.mean(loudness)), least=least)
    return aims.exit_code or of_songs.exit_code


def _demo_lufs(song: Path, *options: str) -> float:
    """Return how loud a song's demo is, as the command writes it."""
    with tempfile.TemporaryDirectory() as folder:
        demo = Path(folder) / "demo.wav"
        run(demo, *tercet("render", song, "-o", demo, *options))
        return integrated_lufs(read_track(demo))


def _figures(song: Path, font: str, folder: Path) -> Figures:
    """Make the files of one song in one sound and measure them."""
    kits, flat = {}, {}
    for name, options in {"marks": (), "front": ("--front", FRONT_LU)}.items():
        asked_for = ("--tracks", ",".join(TRACKS), "--sound", font, *options)
        run(folder / name, *tercet("kit", song, "-o", folder / name, *asked_for))
        kits[name] = folder / name / song.stem
    for name, options in {"melody": ("--only", "melody"), "strums": ("--only", "strums"), "demo": ()}.items():
        flat[name] = folder / f"{name}.wav"
        run(flat[name], *tercet("render", song, "-o", flat[name], "--sound", font, "--flat", *options))
    midi = read_with_mido(kits["marks"] / f"{song.stem}.mid")
    text = read_song_text(song)
    over = [
        float(np.median(over_marks_db(read_track(_track(kits["marks"], f"only-{layer}")), midi, text, layer)))
        for layer in ("melody", "strums")
    ]
    return Figures(
        over_marks=over[0] - over[1],
        medians=_distance_lu(*_fronts(kits["marks"]), kits["marks"]),
        front=_distance_lu(*_fronts(kits["front"]), kits["front"]),
        flat=_distance_lu(flat["melody"], flat["strums"], kits["marks"]),
        flat_louder=integrated_lufs(read_track(flat["demo"]))
        - integrated_lufs(read_track(_track(kits["marks"], "demo"))),
    )


def _fronts(kit: Path) -> tuple[Path, Path]:
    return _track(kit, "only-melody"), _track(kit, "only-strums")


def _track(kit: Path, name: str) -> Path:
    """Return the file of a track, whatever its number."""
    (found,) = kit.glob(f"*-{name}.wav")
    return found


def _distance_lu(melody: Path, strums: Path, kit: Path) -> float:
    """Return how far the median gesture of one file lies above that of the other."""
    midi = read_with_mido(next(kit.glob("*.mid")))
    medians = []
    for path, layer in ((melody, "melody"), (strums, "strums")):
        onsets_s = [gesture.notes[0].onset_s for gesture in struck(midi, layer)]
        medians.append(float(np.median(gesture_levels_lufs(read_track(path), onsets_s))))
    return medians[0] - medians[1]


if __name__ == "__main__":
    sys.exit(main())
