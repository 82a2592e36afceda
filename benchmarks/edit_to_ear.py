"""How long it takes from a text to the sound of some bars: while a song is edited, and by the command; see README.md.

Run as ``.venv/bin/python benchmarks/edit_to_ear.py``. Seconds of the processor, so that a busy machine counts nearly
alike. Ends with 1 if an aim is missed.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from statistics import median

import numpy as np
from measuring import SONG, Aims, Cost, NothingMadeError, asked, counted, machine, parser_of, run, tercet

from tercet import LiveSong, OneTrack, PlayOptions, parse_song, transpose, write_song
from tercet.caches import VARIABLE

TWICE = {"form: verse verse chorus\n": "form: verse verse chorus verse verse chorus\n"}
MOST_S = {98: 0.080, 195: 0.150}
"""Aims, by the seconds of music: from a text to the sound of four of its bars."""

COMMAND_S = 0.6
"""Aim of the whole process of `tercet render --bars`, once the song has been balanced."""

FIRST_DEMO_S = 2.5
"""Aim of the whole process of a computer's first `tercet render`: no sample made, no balance known."""

PITCHES = ("C5", "D5", "B4", "E5", "G4", "F4", "F5", "G#4", "Bb4", "C#5", "D#5", "D4")
STEPS = (1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, 7)
"""By how many semitones a song is moved."""

BARS = {"a note in the middle": "6-9", "a note of the first bar": "1-4", "the tempo": "5-8", "the key": "5-8"}


def main() -> int:
    """Edit a song in four ways, at two lengths, then start the command; print medians."""
    given = asked(parser_of("Time what it takes from a text to the sound of some bars.", 12))
    aims = Aims(judged=not given.short)
    print(machine())
    text = SONG.read_text("utf-8")
    with tempfile.TemporaryDirectory() as folder:
        os.environ[VARIABLE] = str(Path(folder, "cache"))  # where no balance is known yet
        _measure(Path(folder), text, given.rounds, aims, short=given.short)
    return aims.exit_code


def _measure(folder: Path, text: str, rounds: int, aims: Aims, *, short: bool) -> None:
    for music_s, song in {98: text, 195: _replaced(text, TWICE)}.items():
        if not (short and music_s > min(MOST_S)):
            _edit(song, music_s, min(rounds, len(PITCHES)), aims)
    _first_demo(folder, min(rounds, 5), aims)
    _render(folder, text, rounds, aims)


def _replaced(text: str, words: Mapping[str, str]) -> str:
    for before, after in words.items():
        if before not in text:
            raise SystemExit(f"{SONG.name} no longer holds «{before.strip()}»: mend {Path(__file__).name}")
        text = text.replace(before, after, 1)
    return text


def edits_of(text: str) -> dict[str, Callable[[int], str]]:
    """Return for each kind of edit what makes the text of a round: one that wasn't there before."""
    song = parse_song(text)
    return {
        "a note in the middle": lambda at: _replaced(text, {"B4 A G  ": f"{PITCHES[at]} A4 G "}),
        "a note of the first bar": lambda at: _replaced(text, {"A4 E A  ": f"{PITCHES[at]} E4 A "}),
        "the tempo": lambda at: _replaced(text, {"tempo: 92": f"tempo: {93 + at}"}),
        "the key": lambda at: write_song(transpose(song, STEPS[at])),
    }


def _edit(text: str, music_s: int, rounds: int, aims: Aims) -> None:
    """Edit a song that is open and settled."""
    live = LiveSong(PlayOptions())
    live.edit(text)
    live.settle()
    taken_s: list[float] = []
    frames = 0
    print(f"{music_s} s of music, from a text to the sound of four bars, seconds of the processor")
    for name, edited in edits_of(text).items():
        track = OneTrack(bars=BARS[name])
        own_s = []
        before = live.hear(track).audio.samples
        for at in range(rounds):
            changed = edited(at)
            start_s = time.process_time()
            live.edit(changed)
            sound = live.hear(track)
            own_s.append(time.process_time() - start_s)
            if not sound.audio.samples.any() or np.array_equal(sound.audio.samples, before):
                raise NothingMadeError(f"{name}: nothing else is heard than before, so nothing was timed")
            before, frames = sound.audio.samples, frames + sound.audio.length_frames
        taken_s += own_s
        print(f"  {name:<62} {median(own_s):8.3f}")
    counted("frames of sound", frames)
    start_s = time.process_time()
    if not live.settle():
        raise NothingMadeError("the song isn't settled, so nothing was measured")
    print(f"  {'hearing the whole song again, when there is time':<62} {time.process_time() - start_s:8.3f}")
    aims.say(f"{music_s} s of music: all edits, median", median(taken_s), most=MOST_S[music_s])


def _first_demo(folder: Path, rounds: int, aims: Aims) -> None:
    """Render the whole song by the command with an empty cache, as on a new computer."""
    out, costs = folder / "demo.wav", []
    for at in range(rounds):
        out.unlink(missing_ok=True)
        os.environ[VARIABLE] = str(folder / f"new-{at}")
        costs.append(run(folder, *tercet("render", SONG, "-o", out)))
    os.environ[VARIABLE] = str(folder / "cache")
    print(f"tercet render, the first demo of a computer; made: {costs[-1].made}")
    aims.say("nothing made yet, seconds worked by the whole process", _worked_s(costs), most=FIRST_DEMO_S)


def _render(folder: Path, text: str, rounds: int, aims: Aims) -> None:
    """Render four bars by the command: after an edit, when the song is to be balanced, and once more."""
    print("tercet render --bars 5-8, seconds worked by the whole process")
    song, out = folder / "song.yaml", folder / "bars.wav"
    first: list[Cost] = []
    again: list[Cost] = []
    for at in range(rounds):
        song.write_text(_replaced(text, {"tempo: 92": f"tempo: {93 + at}"}), "utf-8")
        for costs in (first, again):
            out.unlink(missing_ok=True)
            costs.append(run(folder, *tercet("render", song, "-o", out, "--bars", "5-8")))
    print(f"  made: {again[-1].made}")
    print(f"  {'after an edit, the song is heard for its balance':<62} {_worked_s(first):8.3f}")
    aims.say("the song's balance is known", _worked_s(again), most=COMMAND_S)


def _worked_s(costs: list[Cost]) -> float:
    return median(cost.worked_s for cost in costs)


if __name__ == "__main__":
    sys.exit(main())
