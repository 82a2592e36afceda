"""Whether marks, ``--front`` and ``--flat`` are what is measured, for every song in several sounds; see README.md.

Run as ``.venv/bin/python benchmarks/levels.py FONT…``. Everything is made by the command and measured in the files it
leaves, by `tests.measure`, which imports nothing from `render`: the K-weighted 400 ms of each gesture of a layer alone.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.measure.audio import read_track  # noqa: E402
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs  # noqa: E402
from tests.measure.midi import read_with_mido, rolls_of  # noqa: E402

FRONT_LU = 9
CHOP_S = 0.05
"""What is shorter is a chop: a stroke on damped strings has no level to keep."""


def main() -> int:
    """Make every song in every sound three ways, and print what is measured."""
    parser = argparse.ArgumentParser(description="Measure the levels of every song in several sound fonts.")
    parser.add_argument("fonts", metavar="FONT", nargs="+", help="sound fonts, as tercet --sound takes them")
    fonts: list[str] = parser.parse_args().fonts
    print(
        "Median gesture of the melody over that of the strums, in LU; flat: its loudness less the demo's, in LU"
    )
    print(f"{'sound':<20} {'song':<20} {'marks (12)':>10} {'front 9':>8} {'flat':>6} {'flat LUFS':>10}")
    for font in fonts:
        for song in sorted((ROOT / "songs").glob("*.yaml")):
            with tempfile.TemporaryDirectory() as folder:
                figures = _figures(song, font, Path(folder))
            print(
                f"{Path(font).stem[:20]:<20} {song.stem[:20]:<20} {figures[0]:>10.2f} {figures[1]:>8.2f} "
                f"{figures[2]:>6.2f} {figures[3]:>+10.2f}",
                flush=True,
            )
    return 0


def _figures(song: Path, font: str, folder: Path) -> tuple[float, float, float, float]:
    """Return the distance as marked, with a front, flat, and how much louder flat is than the demo."""
    _tercet(["kit", song, "-o", folder / "marks", "--sound", font])
    _tercet(["kit", song, "-o", folder / "front", "--sound", font, "--front", FRONT_LU])
    for name, options in {"melody": ("--only", "melody"), "strums": ("--only", "strums"), "demo": ()}.items():
        _tercet(["render", song, "-o", folder / f"{name}.wav", "--sound", font, "--flat", *options])
    marks, front = folder / "marks" / song.stem, folder / "front" / song.stem
    midi = marks / f"{song.stem}.mid"
    flat = _distance_lu(folder / "melody.wav", folder / "strums.wav", midi)
    louder = integrated_lufs(read_track(folder / "demo.wav")) - integrated_lufs(
        read_track(marks / "01-demo.wav")
    )
    distances = [
        _distance_lu(kit / "05-only-melody.wav", kit / "07-only-strums.wav", midi) for kit in (marks, front)
    ]
    return distances[0], distances[1], flat, louder


def _distance_lu(melody: Path, strums: Path, midi: Path) -> float:
    """Return how far the median gesture of one file lies above that of the other."""
    file = read_with_mido(midi)
    medians = []
    for path, layer in ((melody, "melody"), (strums, "strums")):
        gestures = [
            roll for roll in rolls_of(file, layer) if roll.notes[-1].end_s - roll.notes[-1].onset_s > CHOP_S
        ]
        onsets_s = [gesture.notes[0].onset_s for gesture in gestures]
        medians.append(float(np.median(gesture_levels_lufs(read_track(path), onsets_s))))
    return medians[0] - medians[1]


def _tercet(arguments: Sequence[object]) -> None:
    """Run the command of this tree."""
    command = [sys.executable, "-m", "render", *map(str, arguments)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(command, check=True, capture_output=True, env=environment)


if __name__ == "__main__":
    sys.exit(main())
