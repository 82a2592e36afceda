"""How long a three-minute song takes, side by side with public tools; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/three_minutes.py``. Each tool is a whole process, start-up included, and is given
the same notes and the same sound font; the tools take turns, so that a busy moment of the machine meets all of them.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
SONG = HERE.parent / "songs" / "harbour-lanterns.yaml"
FORM = ("form: verse verse chorus\n", "form: verse verse chorus verse verse chorus\n")
TEMPO = ("tempo: 92\n", "tempo: 96\n")
"""Six sections of sixteen bars, at 96 quarters a minute: three minutes."""

OURS = "tercet kit"
PLAYER, DRY_PLAYER = "fluidsynth, one mix", "fluidsynth, one mix, dry"
SEVEN = "pretty_midi, seven tracks"
WHAT = {
    OURS: "seven WAV tracks and a MIDI file",
    PLAYER: "one WAV mix, reverb and chorus on as by default",
    DRY_PLAYER: "one WAV mix, reverb and chorus off",
    SEVEN: "seven WAV tracks, one channel each",
}
MOST_PLAYERS, LEAST_SPEED_UP = 3.5, 4.0
"""Aims: at most so many times the player's time, at least so many times as fast as pretty_midi."""

RATE_HZ = 48_000


def main() -> int:
    """Time every tool some rounds and print medians and ratios."""
    parser = argparse.ArgumentParser(description="Time Tercet on a three-minute song beside public tools.")
    parser.add_argument("--rounds", type=int, default=5, help="runs of each tool (default 5)")
    rounds: int = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as folder:
        commands = _commands(Path(folder))
        for command in commands.values():
            _seconds(command)  # reads files into the system's cache
        times: dict[str, list[float]] = {name: [] for name in commands}
        for number in range(rounds):
            for name, command in commands.items():
                times[name].append(_seconds(command))
            print(f"round {number + 1} of {rounds} done", file=sys.stderr)
    _show({name: statistics.median(seconds) for name, seconds in times.items()}, times)
    return 0


def _commands(folder: Path) -> dict[str, Sequence[str]]:
    """Write the song, let Tercet make its MIDI file, and return what to run for each tool."""
    song = folder / "three-minutes.yaml"
    song.write_text(_three_minutes(SONG.read_text("utf-8")), "utf-8")
    font = _font()
    ours = [sys.executable, "-m", "tercet", "kit", str(song), "-o", str(folder), "--sound", str(font)]
    _seconds(ours)
    midi = folder / "three-minutes" / "three-minutes.mid"
    commands: dict[str, Sequence[str]] = {OURS: ours}
    player = shutil.which("fluidsynth")
    if player is None:
        print(
            "The command-line player is missing, so Tercet can't be compared with it. Install it: "
            "apt install fluidsynth, brew install fluid-synth, dnf install fluidsynth, pacman -S fluidsynth.",
            file=sys.stderr,
        )
    else:
        mix = [player, "-ni", "-r", str(RATE_HZ), "-F", str(folder / "mix.wav"), "-T", "wav", "-O", "s16"]
        commands[PLAYER] = [*mix, str(font), str(midi)]
        commands[DRY_PLAYER] = [*mix, "-R", "0", "-C", "0", str(font), str(midi)]
    seven = folder / "seven"
    seven.mkdir()
    commands[SEVEN] = [
        sys.executable, str(HERE / "seven_with_pretty_midi.py"), str(midi), str(font), str(seven)
    ]  # fmt: skip
    return commands


def _three_minutes(song: str) -> str:
    """Return a song's text with its form played twice and its tempo a little quicker."""
    for before, after in (FORM, TEMPO):
        if before not in song:
            raise SystemExit(
                f"{SONG.name} no longer holds «{before.strip()}»: mend benchmarks/three_minutes.py"
            )
        song = song.replace(before, after)
    return song


def _font() -> Path:
    """Return the sound font inside pretty_midi's package."""
    spec = importlib.util.find_spec("pretty_midi")
    if spec is None or spec.origin is None:
        raise SystemExit(
            "pretty_midi is missing: run this with the Python that `make setup` made, .venv/bin/python"
        )
    return Path(spec.origin).parent / "TimGM6mb.sf2"


def _seconds(command: Sequence[str]) -> float:
    """Run a command to its end and return how long it took."""
    environment = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    start_s = time.perf_counter()
    ran = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    took_s = time.perf_counter() - start_s
    if ran.returncode:
        raise SystemExit(f"{' '.join(command)} failed:\n{ran.stderr}")
    return took_s


def _show(median_s: Mapping[str, float], times: Mapping[str, Sequence[float]]) -> None:
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    for name, seconds in times.items():
        span = f"{min(seconds):.2f} to {max(seconds):.2f}"
        print(f"  {name:<26} {median_s[name]:6.2f} s  ({span})  {WHAT[name]}")
    for player in (PLAYER, DRY_PLAYER):
        if player in median_s:
            _aim(
                f"{OURS} / {player}",
                median_s[OURS] / median_s[player],
                f"at most {MOST_PLAYERS}",
                MOST_PLAYERS,
            )
    speed_up = median_s[SEVEN] / median_s[OURS]
    _aim(f"{SEVEN} / {OURS}", speed_up, f"at least {LEAST_SPEED_UP}", speed_up, LEAST_SPEED_UP)


def _aim(what: str, ratio: float, aim: str, most: float, least: float = 0.0) -> None:
    kept = least <= ratio <= most
    print(f"  {what:<45} {ratio:5.2f}  aim: {aim}, {'kept' if kept else 'missed'}")


if __name__ == "__main__":
    sys.exit(main())
