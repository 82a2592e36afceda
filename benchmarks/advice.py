"""How long it takes to advise on a key; see README.md beside it.

Run as ``.venv/bin/python benchmarks/advice.py``. The song is the dense one of `solver.py`: 32 bars of eighth notes, a
chord a bar. It is arranged in all twelve keys. Seconds are those of the processor, in one thread, the libraries loaded.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence

from measuring import Aims, NothingMadeError, asked, counted, environment, machine, parser_of
from solver import COLD_BARS, NOTES_IN_A_BAR, dense_song

from tercet.arranging.advice import advise, advise_each
from tercet.arranging.line_shapes import line_shapes
from tercet.theory import TUNINGS

MOST_S = 1.0
"""Aim: processor seconds for twelve keys on one tuning, in a fresh process."""

TOGETHER, EACH, LINES = "together", "each by itself", "lines"
ALL, SHORT_TUNINGS = ",".join(TUNINGS), ("baritone",)


def main() -> int:
    """Print all figures; 1 if the aim is missed."""
    parser = parser_of("Time the advice on keys for a dense tune.", 5)
    parser.add_argument("--cold", nargs=2, metavar=("WHAT", "TUNINGS"), help=argparse.SUPPRESS)
    given = asked(parser)
    if given.cold:
        what, tunings = given.cold
        print(_seconds(what, tunings.split(",")))
        return 0
    print(f"{machine()}; processor seconds, {given.rounds} rounds, medians\n")
    print(f"twelve keys of {COLD_BARS} dense bars ({COLD_BARS * NOTES_IN_A_BAR} notes)")
    names = SHORT_TUNINGS if given.short else tuple(TUNINGS)
    slowest_s = max(_show(name, TOGETHER, name, given.rounds) for name in names)
    if not given.short:
        _show("three, each by itself", EACH, ALL, given.rounds)
        _show("three that play together", TOGETHER, ALL, given.rounds)
    print("one hand for the line")
    _show("high-g", LINES, "high-g", given.rounds)
    counted("keys and hands that were advised on", 12 * len(names) + 1)
    aims = Aims(judged=not given.short)
    aims.say("seconds for one tuning in a fresh process", slowest_s, most=MOST_S)
    return aims.exit_code


def _show(name: str, what: str, tunings: str, rounds: int) -> float:
    """Print how long it takes in a fresh process and again in the same one; return the former."""
    command = [sys.executable, __file__, "--cold", what, tunings]
    cold_s = statistics.median(
        float(subprocess.run(command, env=environment(), capture_output=True, text=True, check=True).stdout)
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
        found = len(line_shapes(song, tunings[0]))
    elif what == EACH:
        found = len(advise_each(song, tunings))
    else:
        found = len(advise(song, tunings))
    took_s = time.process_time() - began_s
    if not found:
        raise NothingMadeError("no advice was given")
    return took_s


if __name__ == "__main__":
    sys.exit(main())
