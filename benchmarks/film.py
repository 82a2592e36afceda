"""How long a film of three minutes takes, and how far its picture and sound are apart; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/film.py``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
from measuring import ROOT, Aims, asked, counted, machine, parser_of, run, song_to_time, tercet

sys.path.insert(0, str(ROOT))

from tests.measure.films import film_facts, lights_s, most_flashing, offsets_s, sound_onsets_s

LEAST_TIMES, MOST_APART_MS, MOST_FLASHING = 4.0, 20.0, 0.01
PROCESSORS = 2

TITLE_S, BEFORE_S = 3.1, 0.1
"""The title has gone by then; the first stroke sounds so much before its light at the most."""

SIZES = ("wide", "square")


def main() -> int:
    """Time films of both sizes, then measure one; exit code 1 if an aim is missed."""
    given = asked(parser_of("Time films of a three-minute song, and measure one.", 1))
    aims = Aims(judged=not given.short)
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        song = song_to_time(Path(folder), short=given.short)
        for size in SIZES[: 1 if given.short else None]:
            path = Path(folder, f"{size}.mp4")
            costs = [run(path, *tercet("film", song, "-o", path, "--size", size, "--replace"))
                     for _ in range(given.rounds)]  # fmt: skip
            cost = min(costs, key=lambda each: each.clock_s)
            length_s = film_facts(path).length_s
            print(f"{size}, {length_s:.0f} s: {cost.clock_s:.1f} s by the clock, {cost.worked_s:.1f} s worked, "
                  f"{cost.most_bytes / 1e6:.0f} MB held; made: {cost.made}")  # fmt: skip
            aims.say(f"{size}, times real time by the clock", length_s / cost.clock_s, least=LEAST_TIMES)
            worked = length_s / (cost.worked_s / PROCESSORS)
            print(f"  {size}, times real time if {PROCESSORS} processors did nothing else: {worked:.1f}")
        tune = Path(folder, "tune.mp4")
        run(tune, *tercet("film", song, "-o", tune, "--only", "melody"))
        _measure(tune, aims)
    return aims.exit_code


def _measure(path: Path, aims: Aims) -> None:
    """Print how far picture and sound are apart, and what flashes."""
    lights = lights_s(path, TITLE_S)
    onsets = sound_onsets_s(path, lights[0] - BEFORE_S if len(lights) else 0.0)
    counted("strokes of the tune", len(onsets))
    late_ms = 1000.0 * offsets_s(lights, onsets)
    for name, third in zip(("beginning", "middle", "end"), np.array_split(late_ms, 3), strict=True):
        print(f"  {name}: the picture is {np.median(third):+.1f} ms late in the median, at most "
              f"{np.abs(third).max():.1f} ms apart")  # fmt: skip
    aims.say(
        "picture and sound, milliseconds apart, at most", float(np.abs(late_ms).max()), most=MOST_APART_MS
    )
    aims.say("part of the picture that flashes", most_flashing(path), most=MOST_FLASHING)


if __name__ == "__main__":
    sys.exit(main())
