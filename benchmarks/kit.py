"""What a kit costs: beside the general chain, in two processes, on Dask, again, by length, and for many songs.

Run as ``.venv/bin/python benchmarks/kit.py [PART…]``, see README.md beside this file. Everything is measured in whole
processes, start-up included. Beside the seconds by the clock stand those that processors worked (of all processes of a
command), which other work on the machine changes less. It ends with 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from jobs_scaling import _dask as dask_cluster  # noqa: E402
from three_minutes import SONG, _font, _three_minutes  # noqa: E402

if TYPE_CHECKING:
    from tercet.tracks.recording import Recording

MINUTES = (1, 3, 10, 30, 60)
MOST_BYTES = 600_000_000
RATE_HZ = 48_000
MANY = 200
ROUNDS = 3
LAYER_PROGRAM = 24

SMALL_SONG = """\
title: Small Song {number}
key: C major
meter: 3/4
tempo: 150
strum: d . d u d u
sections:
  verse: |
    chords   C      | G7       | C
    melody   {first}4 A G | B4:2 A   | G4:3
"""

LONG_SONG = """\
title: Medley
key: C major
meter: 4/4
tempo: {tempo}
strum: d . d u . u d u
form: {form}
sections:
  verse: |
    chords   C          | F          | G7          | C
    melody   G4 E G C5  | A4:2 F:2   | G4 F E D    | E4:4

    chords   Am         | Dm         | G7          | C
    melody   A4 C5 A4 E | F4:2 D:2   | G4 A B G    | C5:4
"""
LONG_TEMPO = 128
BARS_A_VERSE = 8
MOST_TIMES = 99
"""So often a form may say that a section is played."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a command took: seconds by the clock, seconds of processors, and the most bytes one process held."""

    clock_s: float
    worked_s: float
    most_bytes: int


_missed: list[str] = []


def main() -> int:
    """Run the parts that are asked for."""
    parts: dict[str, Callable[[Path], None]] = {
        "chain": beside_the_chain, "again": again, "cluster": on_a_cluster, "many": many_songs, "length": by_length
    }  # fmt: skip
    parser = argparse.ArgumentParser(description="Measure what a kit costs.")
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"{', '.join(parts)} (default: all)")
    asked = parser.parse_args().parts or [*parts]
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    for name in asked:
        with tempfile.TemporaryDirectory() as folder:
            parts[name](Path(folder))
    return int(bool(_missed))


# ---- running


def _run(*command: object) -> Cost:
    """Run a command to its end, and return what it and its children took."""
    environment = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # modules are compiled once, as where they are installed
    os.sync()  # nothing that another command wrote is on its way to the disk
    before = os.times()
    start_s = time.perf_counter()
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(
            [str(part) for part in command], env=environment, stdout=subprocess.DEVNULL, stderr=said
        )
        most = _most_bytes_until_the_end(process)
        took_s = time.perf_counter() - start_s
        said.seek(0)
        if process.returncode:
            raise SystemExit(f"{command} failed:\n{said.read().decode()}")
    after = os.times()
    worked_s = after.children_user + after.children_system - before.children_user - before.children_system
    return Cost(took_s, worked_s, most)


def _most_bytes_until_the_end(process: subprocess.Popen[bytes]) -> int:
    """Wait for a process; return the most that it or a child of it held (Linux: VmHWM), looked at all the time."""
    most = 0
    while process.poll() is None:
        most = max(most, *(_held_bytes(each) for each in (process.pid, *_children(process.pid))))
        time.sleep(0.05)
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


def _kit(song: Path | Sequence[Path], folder: Path, *options: object) -> Cost:
    """Make a kit in a folder that wasn't there before."""
    songs = [song] if isinstance(song, Path) else song
    command = (sys.executable, "-m", "tercet", "kit", *songs, "-o", folder, "--sound", _font(), *options)
    return _emptied(folder, *command)


def _emptied(folder: Path, *command: object) -> Cost:
    """Run a command that makes a folder, which wasn't there before."""
    shutil.rmtree(folder, ignore_errors=True)
    return _run(*command)


def _least(ways: dict[str, Callable[[], Cost]]) -> list[Cost]:
    """Let ways take turns, tell the round of each that took least, and return these; other work only ever adds."""
    rounds = [[way() for way in ways.values()] for _ in range(ROUNDS)]
    least = [min(costs, key=lambda cost: cost.clock_s) for costs in zip(*rounds, strict=True)]
    for what, cost in zip(ways, least, strict=True):
        _row(what, cost)
    return least


def _row(what: str, cost: Cost) -> None:
    print(
        f"  {what:<34} {cost.clock_s:7.2f} s by the clock {cost.worked_s:7.2f} s worked "
        f"{cost.most_bytes / 1e6:6.0f} MB"
    )


def _aim(what: str, figure: float, least: float = float("-inf"), most: float = float("inf")) -> None:
    kept = least <= figure <= most
    if not kept:
        _missed.append(what)
    aim = f"at least {least:g}" if least > float("-inf") else f"at most {most:g}"
    print(f"  {what:<62} {figure:6.2f}  aim: {aim}, {'kept' if kept else 'missed'}")


# ---- the parts


def beside_the_chain(folder: Path) -> None:
    """Make the built-in kit of three minutes in one process and in two, and its tracks by the general chain."""
    print(f"three minutes, all tracks, WAV, the least of {ROUNDS} rounds:")
    song = _song(folder, "three-minutes", _three_minutes(SONG.read_text("utf-8")))
    midi = folder / "midi"
    count = _midi_of_all_tracks(song, midi)
    by_chain = (sys.executable, HERE / "tracks_with_pretty_midi.py", midi, _font(), folder / "kit")
    ways: dict[str, Callable[[], Cost]] = {
        "tercet kit --jobs 1": lambda: _kit(song, folder / "kit", "--jobs", 1),
        "tercet kit --jobs 2": lambda: _kit(song, folder / "kit", "--jobs", 2),
        f"pretty_midi, {count} tracks": lambda: _emptied(folder / "kit", *by_chain),
    }
    one, two, chain = _least(ways)
    _aim("general chain / one process, by the clock", chain.clock_s / one.clock_s, 3.0)
    _aim("general chain / one process, worked", chain.worked_s / one.worked_s, 3.0)
    _aim("general chain / two processes, by the clock", chain.clock_s / two.clock_s, 5.0)
    _aim("one process / two, by the clock", one.clock_s / two.clock_s, 1.7)
    print(f"  one / two, as if two processors were ours alone: {2 * one.worked_s / two.worked_s:.2f}")


def again(folder: Path) -> None:
    """Ask again for a kit that is complete."""
    print("a complete kit again:")
    song = _song(folder, "three-minutes", _three_minutes(SONG.read_text("utf-8")))
    _kit(song, folder / "kit", "--tracks", "demo,echo,ladder")
    command = [sys.executable, "-m", "tercet", "kit", song, "-o", folder / "kit", "--sound", _font()]
    costs = [_run(*command, "--tracks", "demo,echo,ladder") for _ in range(5)]
    best = min(costs, key=lambda cost: cost.clock_s)
    _row("tercet kit, nothing to make", best)
    _aim("seconds by the clock, the best of five", best.clock_s, most=0.5)
    _aim("seconds worked, the least of five", min(cost.worked_s for cost in costs), most=0.5)


def on_a_cluster(folder: Path) -> None:
    """Make the kit with two Dask workers and with two processes."""
    print(f"two Dask workers, the least of {ROUNDS} rounds:")
    song = _song(folder, "three-minutes", _three_minutes(SONG.read_text("utf-8")))
    with dask_cluster(folder, workers=2) as address:
        _kit(song, folder / "kit", "--cluster", address, "--tracks", "demo")
        ways: dict[str, Callable[[], Cost]] = {
            "tercet kit --cluster, without workers": lambda: _kit(song, folder / "kit", "--cluster", address),
            "tercet kit --jobs 2": lambda: _kit(song, folder / "kit", "--jobs", 2),
        }
        dask, pool = _least(ways)
    _aim("speed of two workers / two processes, by the clock", pool.clock_s / dask.clock_s, 0.85)


def many_songs(folder: Path) -> None:
    """Make a small kit of each of many songs."""
    print(f"{MANY} songs of eight seconds, two tracks each:")
    names = "CDEFGAB"
    songs = [
        _song(folder, f"song-{number:03}", SMALL_SONG.format(number=number, first=names[number % len(names)]))
        for number in range(MANY)
    ]
    cost = _kit(songs, folder / "kits", "--tracks", "demo,echo", "--jobs", 2)
    _row("tercet kit --jobs 2", cost)
    print(f"  {cost.worked_s / MANY * 1000:.0f} ms worked a song")


def by_length(folder: Path) -> None:
    """Render demos and kits of two tracks, from a minute to an hour."""
    print("by length:")
    costs: dict[int, Cost] = {}
    for minutes in MINUTES:
        times = round(minutes * LONG_TEMPO / 4 / BARS_A_VERSE)
        form = " ".join(f"verse*{min(times - played, MOST_TIMES)}" for played in range(0, times, MOST_TIMES))
        song = _song(folder, f"medley-{minutes}", LONG_SONG.format(tempo=LONG_TEMPO, form=form))
        command = [sys.executable, "-m", "tercet", "render", song, "-o", folder / "demo.wav"]
        costs[minutes] = _run(*command, "--sound", _font())
        _row(f"{minutes} min, demo", costs[minutes])
    kit = _kit(song, folder / "kit", "--jobs", 1, "--tracks", "demo,without-melody")
    _row(f"{minutes} min, kit of two tracks", kit)
    start = costs[MINUTES[0]]
    for minutes in MINUTES[2:]:
        each = (costs[minutes].worked_s - start.worked_s) / (minutes - MINUTES[0])
        print(f"  from {MINUTES[0]} to {minutes} minutes: {each:.3f} s worked for each minute more")
    grown = [
        (costs[last].worked_s - costs[first].worked_s) / (last - first) for first, last in ((3, 10), (30, 60))
    ]
    _aim("a minute more at 30 to 60 / at 3 to 10, worked", grown[1] / grown[0], most=1.1)
    _aim("megabytes held, an hour's demo", costs[MINUTES[-1]].most_bytes / 1e6, most=MOST_BYTES / 1e6)
    _aim("megabytes held, an hour's kit", kit.most_bytes / 1e6, most=MOST_BYTES / 1e6)


# ---- songs


def _song(folder: Path, name: str, text: str) -> Path:
    path = folder / f"{name}.yaml"
    path.write_text(text, "utf-8")
    return path


def _midi_of_all_tracks(song: Path, folder: Path) -> int:
    """Write a MIDI file for each built-in track, with its notes and its cues at their times; return how many."""
    recording, names = _recording(song, folder)
    for index, name in enumerate(names):
        _midi_of(recording, index).write(str(folder / f"{index + 1:02}-{name}.mid"))
    return len(names)


def _recording(song: Path, folder: Path) -> tuple[Recording, list[str]]:
    """Return the plans of the built-in tracks; nothing is played."""
    from tercet.arrange import arrange
    from tercet.cli.options import tuned_and_moved
    from tercet.song import read_song
    from tercet.sound.fonts import choose_font
    from tercet.tracks import RECIPES
    from tercet.tracks.making import SetOrder, TrackOrder, recording_of
    from tercet.tracks.ways import Going

    folder.mkdir()
    tuned, strings, _ = tuned_and_moved(read_song(song), 0, None)
    font = choose_font(str(_font()), None, None, os.environ).sound
    tracks = tuple(TrackOrder(recipe, Going(), ()) for recipe in RECIPES)
    order = SetOrder(arrange(tuned, strings), font, tracks, folder)
    return recording_of(order), [recipe.name for recipe in RECIPES]


def _midi_of(recording: Recording, index: int) -> Any:
    import pretty_midi

    midi = pretty_midi.PrettyMIDI()
    layers = {
        name: pretty_midi.Instrument(LAYER_PROGRAM, name=name)
        for name in ("melody", "between", "strums", "cues")
    }
    plan = recording.plan(index)
    for placed in plan.passages:
        passage = placed.passage
        performed = recording.playing.performed(passage.source)
        zero = placed.start_frame - performed.frame(passage.start_beat)
        heard = performed.picked(passage.heard) | performed.picked(passage.guide)
        for number in performed.between(passage.start_beat, passage.end_beat):
            if number in heard:
                note = performed.notes[number]
                times = (max(zero + frame, 0) / RATE_HZ for frame in (note.onset_frame, note.end_frame))
                layers[note.note.layer].notes.append(pretty_midi.Note(80, note.note.midi, *times))
    for cue in plan.cues:
        layers["cues"].notes.append(
            pretty_midi.Note(80, 76, cue.frame / RATE_HZ, (cue.frame + RATE_HZ // 20) / RATE_HZ)
        )
    midi.instruments = list(layers.values())
    return midi


if __name__ == "__main__":
    sys.exit(main())
