"""A long song is rendered in the memory that a short one needs."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

SONG = """\
title: Long Way
key: C major
meter: 4/4
tempo: 120
strum: d . d u . u d u
form: verse*{times}
sections:
  verse: |
    chords   C          | F          | G7          | C
    melody   G4 E G C5  | A4:2 F:2   | G4 F E D    | E4:4
"""
VERSES_A_MINUTE = 7.5

PROGRAM = """
import sys
from pathlib import Path
from tercet.cli import main
assert main(sys.argv[1:]) == 0
(most,) = (line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(most.split()[1], file=sys.__stdout__)
"""


def most_kb(folder: Path, minutes: float, *command: str) -> int:
    """Run a command with a song of so many minutes, in a process of its own; return the most kilobytes that it held."""
    spec = importlib.util.find_spec("pretty_midi")
    assert spec is not None
    assert spec.origin
    song = folder / f"{minutes}.yaml"
    song.write_text(SONG.format(times=round(minutes * VERSES_A_MINUTE)), encoding="utf-8")
    font = Path(spec.origin).parent / "TimGM6mb.sf2"
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM, command[0], song, *command[1:], "--sound", font, "--dry"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return int(ran.stdout.split()[-1])


def most_of_a_demo_kb(folder: Path, minutes: float) -> int:
    return most_kb(folder, minutes, "render", "-o", str(folder / "demo.wav"))


def most_of_a_kit_kb(folder: Path, tunings: str) -> int:
    options = ("--jobs", "1", "--tracks", "demo,without-melody", "--tuning", tunings)
    return most_kb(folder, 4, "kit", "-o", str(folder / tunings), *options)


def test_twelve_minutes_need_hardly_more_memory_than_four(tmp_path: Path) -> None:
    four, twelve = most_of_a_demo_kb(tmp_path, 4), most_of_a_demo_kb(tmp_path, 12)
    assert twelve < 1.3 * four
    assert twelve < 600_000


def test_three_sets_need_hardly_more_memory_than_one(tmp_path: Path) -> None:
    one, three = (most_of_a_kit_kb(tmp_path, tunings) for tunings in ("high-g", "high-g,low-g,baritone"))
    assert three < 1.3 * one
