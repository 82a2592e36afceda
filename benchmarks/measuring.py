"""What the benchmarks share: commands timed as whole processes, what they made, and aims that are kept or missed.

A benchmark that made nothing has timed nothing. So whatever is timed says what came of it, files and bytes or a
number of things, and `NothingMadeError` ends the benchmark if that is none. ``--short`` takes one small round in which
aims are printed and not judged, since a round says little on a busy machine: it shows that the benchmark works.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

__all__ = [
    "ROOT",
    "SHORT_SONG",
    "Aims",
    "Cost",
    "Made",
    "NothingMadeError",
    "asked",
    "counted",
    "environment",
    "font_of_pretty_midi",
    "machine",
    "made_since",
    "parser_of",
    "run",
    "run_again",
    "run_anew",
    "song_to_time",
    "tercet",
]

ROOT = Path(__file__).resolve().parent.parent
SONG = ROOT / "songs" / "harbour-lanterns.yaml"
LONGER = {
    "form: verse verse chorus\n": "form: verse verse chorus verse verse chorus\n",
    "tempo: 92\n": "tempo: 96\n",
}
"""Six sections of sixteen bars, at 96 quarters a minute: three minutes."""

SHORT_SONG = ROOT / "songs" / "washing-up-branle.yaml"
"""What a short round plays: fifty seconds; where many files are made of it, only its verses."""

SHORTER = {
    "form: verse*2 chorus*2\n": "form: verse*2\n",
    "| louder@1          |          |\n\n": "|                   |          |\n\n",
}
"""Of that song its verses alone, which no longer grow towards the chorus: seventeen seconds."""

LOOK_S = 0.05
"""How often is looked how much memory a command holds."""


class NothingMadeError(Exception):
    """What was timed left nothing behind."""


@dataclass(frozen=True, slots=True)
class Made:
    """What a command made: how many files, of how many bytes together."""

    files: int
    total_bytes: int

    def __str__(self) -> str:
        return f"{self.files} files, {self.total_bytes / 1e6:.2f} MB"


@dataclass(frozen=True, slots=True)
class Cost:
    """What a command took and made.

    Parameters
    ----------
    clock_s
        Seconds by the clock.
    worked_s
        Seconds that processors worked for it and its children.
    most_bytes
        The most memory that one of its processes held (Linux; 0 elsewhere).
    made
        What it made.
    """

    clock_s: float
    worked_s: float
    most_bytes: int
    made: Made


# ---- what is asked for


def parser_of(description: str, rounds: int) -> argparse.ArgumentParser:
    """Return a parser that knows ``--rounds`` and ``--short``."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--rounds", type=int, default=rounds, help=f"rounds (default {rounds})")
    parser.add_argument("--short", action="store_true", help="one small round, aims printed and not judged")
    return parser


def asked(parser: argparse.ArgumentParser) -> argparse.Namespace:
    """Parse the command line; ``--short`` means one round."""
    given = parser.parse_args()
    given.rounds = 1 if given.short else given.rounds
    return given


def machine() -> str:
    """Return what figures were taken on."""
    return f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}"


# ---- running


def environment() -> dict[str, str]:
    """Return what commands run in: this tree first, and modules compiled once, as where they are installed."""
    paths = os.pathsep.join([str(ROOT / "render"), str(ROOT), str(ROOT / "benchmarks")])
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPATH": paths}


def run_anew(folder: Path, *command: object) -> Cost:
    """Run a command that makes a folder, which wasn't there before."""
    shutil.rmtree(folder, ignore_errors=True)
    return run(folder, *command)


def run(place: Path, *command: object) -> Cost:
    """Run a command to its end; count what it made in a folder, or the one file that it made.

    Raises
    ------
    NothingMadeError
        No file there is new or was written again.
    SystemExit
        The command failed; what it said stands in the message.
    """
    there = _files(place)
    cost = _timed(command)
    return replace(cost, made=made_since(there, place))


def run_again(place: Path, *command: object) -> Cost:
    """Run a command that finds all of a folder made already, and leaves it as it is.

    Raises
    ------
    NothingMadeError
        The folder is empty, so there was nothing to find, or the command made something in it.
    SystemExit
        The command failed.
    """
    there = _files(place)
    cost = _timed(command)
    if not there or _files(place) != there:
        raise NothingMadeError(f"{place} was empty or didn't stay as it was, so this wasn't a complete kit")
    return cost


def _timed(command: Sequence[object]) -> Cost:
    if hasattr(os, "sync"):
        os.sync()  # nothing that another command wrote is on its way to the disk
    before, start_s = os.times(), time.perf_counter()
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(
            [str(part) for part in command], env=environment(), stdout=subprocess.DEVNULL, stderr=said
        )
        most = _most_bytes_until_the_end(process)
        clock_s = time.perf_counter() - start_s
        said.seek(0)
        if process.returncode:
            raise SystemExit(f"{' '.join(map(str, command))} failed:\n{said.read().decode(errors='replace')}")
    after = os.times()
    worked_s = after.children_user + after.children_system - before.children_user - before.children_system
    return Cost(clock_s, worked_s, most, Made(0, 0))


def made_since(there: Mapping[Path, tuple[int, int]], place: Path) -> Made:
    """Return which files of a place are new or changed.

    Raises
    ------
    NothingMadeError
        None is, or none holds anything.
    """
    new = [size for path, (size, stamp) in _files(place).items() if there.get(path) != (size, stamp)]
    if not sum(new):
        raise NothingMadeError(f"nothing was made in {place}, so nothing was timed")
    return Made(len(new), sum(new))


def counted(what: str, number: int) -> int:
    """Return and print how much was made of something that leaves no files.

    Raises
    ------
    NothingMadeError
        None.
    """
    if number <= 0:
        raise NothingMadeError(f"no {what}: nothing was timed")
    print(f"  made: {number} {what}")
    return number


def _files(place: Path) -> dict[Path, tuple[int, int]]:
    """Return size and time stamp of a file, or of each file of a folder; empty where there is none."""
    found = [place] if place.is_file() else [path for path in place.rglob("*") if path.is_file()]
    return {path: (path.stat().st_size, path.stat().st_mtime_ns) for path in found}


def _most_bytes_until_the_end(process: subprocess.Popen[bytes]) -> int:
    """Wait for a process; return the most that it or a child of it held (Linux: VmHWM), looked at all the time."""
    most = 0
    while process.poll() is None:
        most = max(most, *(_held_bytes(each) for each in (process.pid, *_children(process.pid))))
        time.sleep(LOOK_S)
    return most


def _children(pid: int) -> list[int]:
    try:
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def _held_bytes(pid: int) -> int:
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    except OSError:
        pass
    return 0


# ---- aims


@dataclass
class Aims:
    """What is aimed at, and what was missed.

    Parameters
    ----------
    judged
        Whether a miss counts; with ``--short`` it doesn't.
    """

    judged: bool = True
    missed: list[str] = field(default_factory=list)

    def say(
        self, what: str, figure: float, *, least: float = float("-inf"), most: float = float("inf")
    ) -> None:
        """Print a figure beside its aim, and keep in mind if it is missed."""
        kept = least <= figure <= most
        if not kept:
            self.missed.append(what)
        aim = f"at least {least:g}" if least > float("-inf") else f"at most {most:g}"
        word = "kept" if kept else "MISSED"
        print(f"  {what:<62} {figure:8.3f}  aim: {aim}, {word if self.judged else f'{word}, not judged'}")

    @property
    def exit_code(self) -> int:
        """0, or 1 where an aim that is judged was missed."""
        return int(self.judged and bool(self.missed))


# ---- what is played


def song_to_time(folder: Path, *, short: bool = False) -> Path:
    """Write a song of three minutes into a folder, for a short round one of seventeen seconds, and return its path."""
    written = SHORT_SONG if short else SONG
    text = written.read_text("utf-8")
    for before, after in (SHORTER if short else LONGER).items():
        if before not in text:
            raise SystemExit(f"{written.name} no longer holds «{before.strip()}»: mend {Path(__file__).name}")
        text = text.replace(before, after)
    song = folder / "song-to-time.yaml"
    song.write_text(text, "utf-8")
    return song


def font_of_pretty_midi() -> Path:
    """Return the sound font inside pretty_midi's package."""
    spec = importlib.util.find_spec("pretty_midi")
    if spec is None or spec.origin is None:
        raise SystemExit(
            "pretty_midi is missing: run this with the Python that `make setup` made, .venv/bin/python"
        )
    return Path(spec.origin).parent / "TimGM6mb.sf2"


def tercet(*arguments: object) -> Sequence[object]:
    """Return the command line of this tree's command."""
    return (sys.executable, "-m", "tercet", *arguments)
