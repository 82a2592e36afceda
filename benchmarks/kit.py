"""What a kit costs: beside the general chain, in two processes, on Dask, again, by length, and for many songs.

Run as ``.venv/bin/python benchmarks/kit.py [PART…]``, see README.md beside this file. Everything is measured in whole
processes, start-up included. Beside the seconds by the clock stand those that processors worked (of all processes of a
command), which other work on the machine changes less. It ends with 1 if an aim is missed.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jobs_scaling import dask_cluster
from measuring import (
    Aims,
    Cost,
    asked,
    environment,
    font_of_pretty_midi,
    machine,
    parser_of,
    run,
    run_again,
    run_anew,
    song_to_time,
    tercet,
)

if TYPE_CHECKING:
    from tercet.tracks.recording import Recording

HERE = Path(__file__).resolve().parent
MINUTES, SHORT_MINUTES = (1, 3, 10, 30, 60), (0.25, 0.5)
MOST_BYTES = 600_000_000
RATE_HZ = 48_000
MANY, SHORT_MANY = 200, 2
ROUNDS = 3
SHORT_TRACKS = ("demo", "echo", "only-strums")
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


@dataclass
class Bench:
    """How the parts are to be measured.

    Parameters
    ----------
    folder
        For everything that is made.
    rounds, short
        As asked for.
    aims
        What is kept and missed.
    """

    folder: Path
    rounds: int
    short: bool
    aims: Aims

    @property
    def tracks(self) -> tuple[str, ...]:
        """The tracks of a kit, and for a short round few of them."""
        from tercet.tracks import RECIPES

        return SHORT_TRACKS if self.short else tuple(recipe.name for recipe in RECIPES)


def main() -> int:
    """Run the parts that are asked for."""
    parts: dict[str, Callable[[Bench], None]] = {
        "chain": beside_the_chain, "again": again, "cluster": on_a_cluster, "many": many_songs, "length": by_length
    }  # fmt: skip
    parser = parser_of("Measure what a kit costs.", ROUNDS)
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"{', '.join(parts)} (default: all)")
    given = asked(parser)
    aims = Aims(judged=not given.short)
    print(machine())
    for name in given.parts or parts:
        with tempfile.TemporaryDirectory() as folder:
            parts[name](Bench(Path(folder), given.rounds, given.short, aims))
    return aims.exit_code


# ---- running


def _kit(
    song: Path | Sequence[Path], folder: Path, *options: object, sound: Path | str | None = None
) -> Cost:
    """Make a kit in a folder that wasn't there before, with the font that the chain plays or another sound."""
    songs = [song] if isinstance(song, Path) else song
    command = tercet("kit", *songs, "-o", folder, "--sound", sound or font_of_pretty_midi(), *options)
    return run_anew(folder, *command)


def _least(bench: Bench, ways: dict[str, Callable[[], Cost]]) -> list[Cost]:
    """Let ways take turns, tell the round of each that took least, and return these; other work only ever adds."""
    rounds = [[way() for way in ways.values()] for _ in range(bench.rounds)]
    least = [min(costs, key=lambda cost: cost.clock_s) for costs in zip(*rounds, strict=True)]
    for what, cost in zip(ways, least, strict=True):
        _row(what, cost)
    return least


def _row(what: str, cost: Cost) -> None:
    print(
        f"  {what:<38} {cost.clock_s:7.2f} s by the clock {cost.worked_s:7.2f} s worked "
        f"{cost.most_bytes / 1e6:6.0f} MB held; made: {cost.made}"
    )


# ---- the parts


def beside_the_chain(bench: Bench) -> None:
    """Make the built-in kit of three minutes in one process and in two, and its tracks by the general chain."""
    print(f"{len(bench.tracks)} tracks, WAV, the least of {bench.rounds} rounds:")
    folder, tracks = bench.folder, ("--tracks", ",".join(bench.tracks))
    song = song_to_time(folder, short=bench.short)
    midi = folder / "midi"
    count = _midi_of_tracks(song, bench.tracks, midi)
    by_chain = (
        sys.executable,
        HERE / "tracks_with_pretty_midi.py",
        midi,
        font_of_pretty_midi(),
        folder / "kit",
    )
    ways: dict[str, Callable[[], Cost]] = {
        "tercet kit --jobs 1": lambda: _kit(song, folder / "kit", "--jobs", 1, *tracks),
        "tercet kit --jobs 2": lambda: _kit(song, folder / "kit", "--jobs", 2, *tracks),
        "the same, built-in player": lambda: _kit(
            song, folder / "kit", "--jobs", 2, *tracks, sound="built-in"
        ),
        f"pretty_midi, {count} tracks": lambda: run_anew(folder / "kit", *by_chain),
    }
    one, two, built_in, chain = _least(bench, ways)
    bench.aims.say("general chain / one process, by the clock", chain.clock_s / one.clock_s, least=3.0)
    bench.aims.say("general chain / one process, worked", chain.worked_s / one.worked_s, least=3.0)
    bench.aims.say("general chain / two processes, by the clock", chain.clock_s / two.clock_s, least=5.0)
    bench.aims.say(
        "general chain / two, built-in player, by the clock", chain.clock_s / built_in.clock_s, least=8.0
    )
    bench.aims.say("one process / two, by the clock", one.clock_s / two.clock_s, least=1.7)
    print(f"  one / two, as if two processors were ours alone: {2 * one.worked_s / two.worked_s:.2f}")


def again(bench: Bench) -> None:
    """Ask again for a kit that is complete."""
    print("a complete kit again:")
    folder, tracks = bench.folder, ("--tracks", "demo,echo,ladder")
    song = song_to_time(folder, short=bench.short)
    first = _kit(song, folder / "kit", *tracks)
    command = tercet("kit", song, "-o", folder / "kit", "--sound", font_of_pretty_midi(), *tracks)
    costs = [run_again(folder / "kit", *command) for _ in range(2 if bench.short else 5)]
    _row("tercet kit, for the first time", first)
    best = min(costs, key=lambda cost: cost.clock_s)
    _row("tercet kit, nothing to make", best)
    bench.aims.say("seconds by the clock, the best of five", best.clock_s, most=0.5)
    bench.aims.say("seconds worked, the least of five", min(cost.worked_s for cost in costs), most=0.5)


def on_a_cluster(bench: Bench) -> None:
    """Make the kit with two Dask workers and with two processes."""
    print(f"two Dask workers, the least of {bench.rounds} rounds:")
    folder, tracks = bench.folder, ("--tracks", ",".join(bench.tracks))
    song = song_to_time(folder, short=bench.short)
    with dask_cluster(folder, workers=2) as address:
        _kit(song, folder / "kit", "--cluster", address, "--tracks", "demo")
        ways: dict[str, Callable[[], Cost]] = {
            "tercet kit --cluster, without workers": lambda: _kit(
                song, folder / "kit", "--cluster", address, *tracks
            ),
            "tercet kit --jobs 2": lambda: _kit(song, folder / "kit", "--jobs", 2, *tracks),
        }
        dask, pool = _least(bench, ways)
    bench.aims.say(
        "speed of two workers / two processes, by the clock", pool.clock_s / dask.clock_s, least=0.85
    )


def many_songs(bench: Bench) -> None:
    """Make a small kit of each of many songs."""
    many, folder = SHORT_MANY if bench.short else MANY, bench.folder
    print(f"{many} songs of eight seconds, two tracks each:")
    names = "CDEFGAB"
    songs = [
        _song(folder, f"song-{number:03}", SMALL_SONG.format(number=number, first=names[number % len(names)]))
        for number in range(many)
    ]
    cost = _kit(songs, folder / "kits", "--tracks", "demo,echo", "--jobs", 2)
    _row("tercet kit --jobs 2", cost)
    print(f"  {cost.worked_s / many * 1000:.0f} ms worked a song")


def by_length(bench: Bench) -> None:
    """Render demos and kits of two tracks, from a minute to an hour."""
    print("by length:")
    folder = bench.folder
    lengths: Sequence[float] = SHORT_MINUTES if bench.short else MINUTES
    costs: dict[float, Cost] = {}
    for minutes in lengths:
        times = round(minutes * LONG_TEMPO / 4 / BARS_A_VERSE)
        form = " ".join(f"verse*{min(times - played, MOST_TIMES)}" for played in range(0, times, MOST_TIMES))
        song = _song(folder, f"medley-{minutes}", LONG_SONG.format(tempo=LONG_TEMPO, form=form))
        demo = folder / f"demo-{minutes}.wav"
        costs[minutes] = run(demo, *tercet("render", song, "-o", demo, "--sound", font_of_pretty_midi()))
        _row(f"{minutes} min, demo", costs[minutes])
    kit = _kit(song, folder / "kit", "--jobs", 1, "--tracks", "demo,without-melody")
    _row(f"{minutes} min, kit of two tracks", kit)
    start = costs[lengths[0]]
    for minutes in lengths[1:]:
        each = (costs[minutes].worked_s - start.worked_s) / (minutes - lengths[0])
        print(f"  from {lengths[0]} to {minutes} minutes: {each:.3f} s worked for each minute more")
    first, second, *_, last_but_one, last = lengths[-4:] if len(lengths) > 3 else (*lengths, *lengths)
    grown = [
        (costs[more].worked_s - costs[less].worked_s) / (more - less)
        for less, more in ((first, second), (last_but_one, last))
    ]
    bench.aims.say(
        f"a minute more at {last_but_one} to {last} / at {first} to {second}, worked",
        grown[1] / grown[0],
        most=1.1,
    )
    bench.aims.say(
        f"megabytes held, a demo of {last} minutes",
        costs[lengths[-1]].most_bytes / 1e6,
        most=MOST_BYTES / 1e6,
    )
    bench.aims.say(f"megabytes held, a kit of {last} minutes", kit.most_bytes / 1e6, most=MOST_BYTES / 1e6)


# ---- songs


def _song(folder: Path, name: str, text: str) -> Path:
    path = folder / f"{name}.yaml"
    path.write_text(text, "utf-8")
    return path


def _midi_of_tracks(song: Path, names: Sequence[str], folder: Path) -> int:
    """Write a MIDI file for each of these tracks, with its notes and its cues at their times; return how many."""
    recording = _recording(song, names, folder)
    for index, name in enumerate(names):
        _midi_of(recording, index).write(str(folder / f"{index + 1:02}-{name}.mid"))
    return len(names)


def _recording(song: Path, names: Sequence[str], folder: Path) -> Recording:
    """Return the plans of built-in tracks; nothing is played."""
    from tercet.arranging import arrange, song_tuning
    from tercet.song import read_song
    from tercet.sound.soundfont_choice import choose_sound
    from tercet.tracks import RECIPES
    from tercet.tracks.practice_forms import TrackOptions
    from tercet.tracks.track_files import SetOrder, TrackOrder, recording_of

    folder.mkdir()
    font = choose_sound(str(font_of_pretty_midi()), None, None, environment()).sound
    tracks = tuple(TrackOrder(recipe, TrackOptions(), ()) for recipe in RECIPES if recipe.name in names)
    written = read_song(song)
    order = SetOrder(arrange(written, song_tuning(written)), font, tracks, folder)
    return recording_of(order)


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
