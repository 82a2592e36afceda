"""How long it takes to advise on a key; see README.md beside it.

Run as ``.venv/bin/python benchmarks/advice.py``. The song is the dense one of `solver.py`: 32 bars of eighth notes, a
chord a bar. It is arranged in all twelve keys. Seconds are those of the processor, in one thread, the libraries loaded.
"""

from __future__ import annotations

import argparse
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence

from solver import COLD_BARS, NOTES_IN_A_BAR, dense_song

from tercet.arrange.advice import advise, advise_each
from tercet.arrange.line_shapes import line_shapes
from tercet.theory import TUNINGS

MOST_S = 1.0
"""Aim: processor seconds for twelve keys on one tuning, in a fresh process."""

TOGETHER, EACH, LINES = "together", "each by itself", "lines"
ALL = ",".join(TUNINGS)


def main() -> int:
    """Print all figures; 1 if the aim is missed."""
    parser = argparse.ArgumentParser(description="Time the advice on keys for a dense tune.")
    parser.add_argument("--rounds", type=int, default=5, help="times that each is taken (default 5)")
    parser.add_argument("--cold", nargs=2, metavar=("WHAT", "TUNINGS"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.cold:
        what, tunings = given.cold
        print(_seconds(what, tunings.split(",")))
        return 0
    print(
        f"{platform.machine()}, Python {platform.python_version()}; processor seconds, {given.rounds} rounds, medians\n"
    )
    print(f"twelve keys of {COLD_BARS} dense bars ({COLD_BARS * NOTES_IN_A_BAR} notes)")
    slowest_s = max(_show(name, TOGETHER, name, given.rounds) for name in TUNINGS)
    _show("three, each by itself", EACH, ALL, given.rounds)
    _show("three that play together", TOGETHER, ALL, given.rounds)
    print("one hand for the line")
    _show("high-g", LINES, "high-g", given.rounds)
    kept = slowest_s <= MOST_S
    print(f"  aim: at most {MOST_S} s for one tuning in a fresh process: {'kept' if kept else 'MISSED'}")
    return 0 if kept else 1


def _show(name: str, what: str, tunings: str, rounds: int) -> float:
    """Print how long it takes in a fresh process and again in the same one; return the former."""
    command = [sys.executable, __file__, "--cold", what, tunings]
    cold_s = statistics.median(
        float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
        for _ in range(rounds)
    )
    _seconds(what, tunings.split(","))
    warm_s = statistics.median(_seconds(what, tunings.split(",")) for _ in range(rounds))
    print(f"  {name:<26} fresh process {cold_s:.3f}   again {warm_s:.3f}")
    return cold_s


def _seconds(what: str, names: Sequence[str]) -> float:
    song = dense_song(COLD_BARS, 1)
    tunings = [TUNINGS[name] for name in names]
    began_s = time.process_time()
    if what == LINES:
        line_shapes(song, tunings[0])
    elif what == EACH:
        advise_each(song, tunings)
    else:
        advise(song, tunings)
    return time.process_time() - began_s


if __name__ == "__main__":
    sys.exit(main())
