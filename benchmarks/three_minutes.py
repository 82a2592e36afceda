"""What seven tracks of a three-minute song cost, side by side with public tools; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/three_minutes.py``. Each tool is a whole process, start-up included, works on one
processor, and is given the same notes and the same sound font. The tools take turns, so that a busy moment of the
machine meets all of them, and each makes its files anew in a folder that wasn't there before.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from measuring import (
    Aims,
    Cost,
    asked,
    font_of_pretty_midi,
    machine,
    parser_of,
    run_anew,
    song_to_time,
    tercet,
)

HERE = Path(__file__).resolve().parent
TRACKS = (
    "demo", "without-melody", "without-between", "without-strums", "only-melody", "only-between", "only-strums"
)  # fmt: skip
OURS, OURS_DRY, BUILT_IN = "tercet kit", "tercet kit --dry", "tercet kit, built-in player"
PLAYER, DRY_PLAYER = "fluidsynth, one mix", "fluidsynth, one mix, dry"
SEVEN = "pretty_midi, seven tracks"
MOST_PLAYERS, MOST_BUILT_IN, LEAST_SPEED_UP = 3.5, 2.0, 4.0
"""Aims: at most so many times what the player works for its one mix, with the same font and with our own player on the
built-in ukulele; and pretty_midi works at least so many times as much as we do."""

RATE_HZ = 48_000


def main() -> int:
    """Let every tool work some rounds, and print medians and ratios."""
    given = asked(parser_of("Time seven tracks of a three-minute song beside public tools.", 5))
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base)
        commands = _commands(folder, short=given.short)
        costs: dict[str, list[Cost]] = {name: [] for name in commands}
        for number in range(given.rounds):
            for name, command in commands.items():
                costs[name].append(run_anew(folder / "out", *command))
            print(f"round {number + 1} of {given.rounds} done", file=sys.stderr)
    return _show(costs, Aims(judged=not given.short))


def _commands(folder: Path, *, short: bool) -> dict[str, Sequence[object]]:
    """Write the song, let Tercet make its MIDI file, and return what to run for each tool."""
    song = song_to_time(folder, short=short)
    font, out = font_of_pretty_midi(), folder / "out"
    ours = tercet("kit", song, "-o", out, "--sound", font, "--tracks", ",".join(TRACKS), "--jobs", 1)
    run_anew(out, *ours)  # reads files into the system's cache, too
    midi = (out / song.stem / f"{song.stem}.mid").rename(folder / "song.mid")
    commands: dict[str, Sequence[object]] = {OURS: ours, OURS_DRY: [*ours, "--dry"]}
    commands[BUILT_IN] = ["built-in" if each == font else each for each in ours]
    run_anew(out, *commands[BUILT_IN])  # makes the samples that are kept
    player = shutil.which("fluidsynth")
    if player is None:
        raise SystemExit(
            "The command-line player is missing, so there is nothing to compare with. Install it: "
            "apt install fluidsynth, brew install fluid-synth, dnf install fluidsynth, pacman -S fluidsynth."
        )
    mix = ["-ni", "-r", RATE_HZ, "-F", out / "mix.wav", "-T", "wav", "-O", "s16"]
    commands[PLAYER] = _in_new_folder(out, player, *mix, font, midi)
    commands[DRY_PLAYER] = _in_new_folder(out, player, *mix, "-R", 0, "-C", 0, font, midi)
    commands[SEVEN] = [sys.executable, HERE / "seven_with_pretty_midi.py", midi, font, out]
    return commands


def _in_new_folder(folder: Path, *command: object) -> Sequence[object]:
    """Return a command that makes its folder first, since the player doesn't."""
    return ("sh", "-c", 'mkdir -p "$0" && exec "$@"', folder, *command)


def _show(costs: dict[str, list[Cost]], aims: Aims) -> int:
    print(f"{machine()}; the median of {len(costs[OURS])} rounds")
    for name, each in costs.items():
        clock_s = statistics.median(cost.clock_s for cost in each)
        print(
            f"  {name:<28} {_worked_s(each):6.2f} s worked {clock_s:6.2f} s by the clock   made: {each[-1].made}"
        )
    aims.say(
        f"{OURS} / {PLAYER}, worked", _worked_s(costs[OURS]) / _worked_s(costs[PLAYER]), most=MOST_PLAYERS
    )
    aims.say(
        f"{BUILT_IN} / {PLAYER}, worked",
        _worked_s(costs[BUILT_IN]) / _worked_s(costs[PLAYER]),
        most=MOST_BUILT_IN,
    )
    dry = _worked_s(costs[OURS_DRY]) / _worked_s(costs[PLAYER])
    print(f"  {f'{OURS_DRY} / {PLAYER}, worked':<62} {dry:8.3f}")
    speed_up = _worked_s(costs[SEVEN]) / _worked_s(costs[OURS])
    aims.say(f"{SEVEN} / {OURS}, worked", speed_up, least=LEAST_SPEED_UP)
    return aims.exit_code


def _worked_s(costs: Sequence[Cost]) -> float:
    return statistics.median(cost.worked_s for cost in costs)


if __name__ == "__main__":
    sys.exit(main())
