"""Whether marks, ``--front`` and ``--flat`` are what is measured, for every song in several sounds; see README.md.

Run as ``.venv/bin/python benchmarks/levels.py FONT…``. Everything is made by the command and measured in the files it
leaves, by `tests.measure`, which imports nothing from `render`: the K-weighted 400 ms of each gesture of a layer alone,
chops left out. Ends with 1 if a figure lies outside its aim.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.measure.audio import read_track  # noqa: E402
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs  # noqa: E402
from tests.measure.marks import over_marks_db, struck  # noqa: E402
from tests.measure.midi import read_with_mido  # noqa: E402
from tests.measure.song_text import read_song_text  # noqa: E402

FRONT_LU = 9


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
    parser = argparse.ArgumentParser(description="Measure the levels of every song in several sound fonts.")
    parser.add_argument("fonts", metavar="FONT", nargs="+", help="sound fonts, as tercet --sound takes them")
    fonts: list[str] = parser.parse_args().fonts
    print("| sound | song | off the marks | medians | front 9 | flat | flat − demo |")
    print("|---|---|---|---|---|---|---|")
    kept = True
    for font in fonts:
        for song in sorted((ROOT / "songs").glob("*.yaml")):
            with tempfile.TemporaryDirectory() as folder:
                figures = _figures(song, font, Path(folder))
            kept = kept and figures.within_aims()
            print(
                f"| {Path(font).stem[:20]} | {song.stem} | {figures.over_marks:+.2f} | {figures.medians:.2f} "
                f"| {figures.front:.2f} | {figures.flat:+.2f} | {figures.flat_louder:+.2f} |"
                f"{'' if figures.within_aims() else ' missed'}",
                flush=True,
            )
    return 0 if kept else 1


def _figures(song: Path, font: str, folder: Path) -> Figures:
    """Make the files of one song in one sound and measure them."""
    _tercet(["kit", song, "-o", folder / "marks", "--sound", font])
    _tercet(["kit", song, "-o", folder / "front", "--sound", font, "--front", FRONT_LU])
    for name, options in {"melody": ("--only", "melody"), "strums": ("--only", "strums"), "demo": ()}.items():
        _tercet(["render", song, "-o", folder / f"{name}.wav", "--sound", font, "--flat", *options])
    marks, front = folder / "marks" / song.stem, folder / "front" / song.stem
    midi, text = read_with_mido(marks / f"{song.stem}.mid"), read_song_text(song)
    over = [
        float(np.median(over_marks_db(read_track(marks / file), midi, text, layer)))
        for file, layer in (("05-only-melody.wav", "melody"), ("07-only-strums.wav", "strums"))
    ]
    demo = read_track(marks / "01-demo.wav")
    return Figures(
        over_marks=over[0] - over[1],
        medians=_distance_lu(marks / "05-only-melody.wav", marks / "07-only-strums.wav", marks),
        front=_distance_lu(front / "05-only-melody.wav", front / "07-only-strums.wav", front),
        flat=_distance_lu(folder / "melody.wav", folder / "strums.wav", marks),
        flat_louder=integrated_lufs(read_track(folder / "demo.wav")) - integrated_lufs(demo),
    )


def _distance_lu(melody: Path, strums: Path, kit: Path) -> float:
    """Return how far the median gesture of one file lies above that of the other."""
    midi = read_with_mido(next(kit.glob("*.mid")))
    medians = []
    for path, layer in ((melody, "melody"), (strums, "strums")):
        onsets_s = [gesture.notes[0].onset_s for gesture in struck(midi, layer)]
        medians.append(float(np.median(gesture_levels_lufs(read_track(path), onsets_s))))
    return medians[0] - medians[1]


def _tercet(arguments: Sequence[object]) -> None:
    """Run the command of this tree."""
    command = [sys.executable, "-m", "tercet", *map(str, arguments)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(command, check=True, capture_output=True, env=environment)


if __name__ == "__main__":
    sys.exit(main())
