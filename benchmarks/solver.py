"""How long the arranger looks for the best way to play a tune, and what it loses by pruning; see README.md beside it.

Run as ``.venv/bin/python benchmarks/solver.py``. The tunes are drawn at random but the same every time: eight notes to
the bar, a chord a bar, rolls wanted on every downbeat. Seconds are those of the processor: the solver runs in one
thread, so they are what a clock shows on a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import random
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from measuring import Aims, NothingMadeError, asked, counted, environment, machine, parser_of

from tercet.arranging import arrange
from tercet.arranging.fingering import finger_tune, tune_cost
from tercet.arranging.piece import piece_of
from tercet.arranging.tune import row_notes
from tercet.song import ChordSpan, Line, Meter, Note, Players, Row, Section, Song, Visit
from tercet.theory import TUNINGS, Key, parse_chord, spell

CHORDS = ("C", "F", "G7", "Am", "Dm", "G", "Em", "C7", "D7", "A7", "E7", "Bb", "Gm", "B7")
STEPS = (-5, -4, -3, -2, -1, -1, 0, 1, 1, 2, 3, 4, 5)
LOWEST_MIDI, HIGHEST_MIDI = 60, 79
NOTES_IN_A_BAR, BEATS_IN_A_BAR = 8, 4

COLD_BARS = 32
LENGTHS_BARS, SHORT_LENGTHS_BARS = (8, 32, 128, 512, 2048), (8, 32, 128)
STEADY_BARS = 128
PLAYERS: tuple[Players, ...] = ("beginner", "improving", "free")

MOST_COLD_S = 0.15
MOST_LOST = 0.003
MOST_UNEVEN = 1.5
"""Aims: processor seconds for 32 dense bars in a fresh process; share of cost that pruning may lose; how much longer
a bar may take in the longest tune than in one of 128 bars."""


def main() -> int:
    """Print all figures; 1 if one misses its aim."""
    parser = parser_of("Time the arranger on dense tunes, and weigh its pruning.", 5)
    parser.add_argument("--tunes", type=int, default=20, help="tunes for pruned against exact (default 20)")
    parser.add_argument("--cold", choices=TUNINGS, help=argparse.SUPPRESS)
    given = asked(parser)
    if given.cold:
        print(_seconds(dense_song(COLD_BARS, 1), given.cold))
        return 0
    print(f"{machine()}; processor seconds, {given.rounds} rounds, medians\n")
    aims = Aims(judged=not given.short)
    _show_cold(given.rounds, aims)
    _show_lengths(given.rounds, SHORT_LENGTHS_BARS if given.short else LENGTHS_BARS, aims)
    _show_pruning(1 if given.short else given.tunes, aims)
    return aims.exit_code


def dense_song(bars: int, number: int, players: Players = "improving") -> Song:
    """Return a song of so many bars of eighth notes, always the same for a number."""
    chance = random.Random(number)  # noqa: S311 - to choose, not to hide
    midi = chance.randint(64, 72)
    chords, melody = [], []
    for _ in range(bars):
        chord = parse_chord(chance.choice(CHORDS))
        chords.append((ChordSpan(Fraction(0), Fraction(BEATS_IN_A_BAR), chord),))
        notes = []
        for place in range(NOTES_IN_A_BAR):
            midi = min(max(midi + chance.choice(STEPS), LOWEST_MIDI), HIGHEST_MIDI)
            length_beat = Fraction(BEATS_IN_A_BAR, NOTES_IN_A_BAR)
            notes.append(Note(place * length_beat, length_beat, spell(midi, Key("C", 0, False))))
        melody.append(tuple(notes))
    line = Line((Row("chords", (), tuple(chords)), Row("melody", (), tuple(melody))))
    song = Song("dense", (Section("verse", (line,)),), (Visit("verse", 1, True),), meter=Meter(4, 4))
    return replace(song, players=players)


def _seconds(song: Song, tuning: str) -> float:
    began_s = time.process_time()
    arrangement = arrange(song, TUNINGS[tuning])
    took_s = time.process_time() - began_s
    if not arrangement.gestures:
        raise NothingMadeError("the tune was arranged without a single gesture")
    return took_s


def _show_cold(rounds: int, aims: Aims) -> None:
    """Print how long 32 dense bars take in a fresh process, and again in the same one."""
    print(f"{COLD_BARS} dense bars ({COLD_BARS * NOTES_IN_A_BAR} notes), seconds to arrange")
    slowest_s = 0.0
    for tuning in TUNINGS:
        command = [sys.executable, __file__, "--cold", tuning]
        cold_s = statistics.median(
            float(
                subprocess.run(command, env=environment(), capture_output=True, text=True, check=True).stdout
            )
            for _ in range(rounds)
        )
        song = dense_song(COLD_BARS, 1)
        _seconds(song, tuning)
        warm_s = statistics.median(_seconds(song, tuning) for _ in range(rounds))
        slowest_s = max(slowest_s, cold_s)
        print(f"  {tuning:<10} fresh process {cold_s:.3f}   again {warm_s:.3f}")
    aims.say("seconds in a fresh process, the slowest tuning", slowest_s, most=MOST_COLD_S)


def _show_lengths(rounds: int, lengths_bars: Sequence[int], aims: Aims) -> None:
    """Print time and cost of ever longer tunes."""
    print("length of the tune on high-g, hands and all tables known")
    per_bar_s: dict[int, float] = {}
    _seconds(dense_song(128, 2), "high-g")
    for bars in lengths_bars:
        song = dense_song(bars, 2)
        took_s = statistics.median(
            _seconds(song, "high-g") for _ in range(rounds if bars <= STEADY_BARS else 2)
        )
        per_bar_s[bars] = took_s / bars
        cost = arrange(song, TUNINGS["high-g"]).cost / bars
        print(
            f"  {bars:>5} bars {took_s:8.3f} s   {1000 * took_s / bars:.2f} ms a bar   cost {cost:.2f} a bar"
        )
    uneven = per_bar_s[lengths_bars[-1]] / per_bar_s[STEADY_BARS]
    aims.say(f"a bar of the longest takes so many times one of {STEADY_BARS}", uneven, most=MOST_UNEVEN)


def _show_pruning(tunes: int, aims: Aims) -> None:
    """Print what pruned arrangements cost above exact ones, and how long both take."""
    print(f"pruned against exact, {tunes} dense tunes of 8 bars in three tunings for each kind of players")
    totals = {False: 0.0, True: 0.0}
    for players in PLAYERS:
        cost, took_s = {False: 0.0, True: 0.0}, {False: 0.0, True: 0.0}
        for number in range(tunes):
            for tuning in TUNINGS.values():
                piece = piece_of(dense_song(8, 100 + number, players), tuning)
                for exact in (False, True):
                    began_s = time.process_time()
                    fingered, _ = finger_tune(row_notes(piece), piece, exact=exact)
                    took_s[exact] += time.process_time() - began_s
                    cost[exact] += tune_cost(fingered)
        lost = cost[False] / cost[True] - 1
        print(
            f"  {players:<10} {100 * lost:.3f} % dearer   {took_s[False]:.2f} s, exact {took_s[True]:.2f} s"
        )
        totals = {exact: totals[exact] + cost[exact] for exact in totals}
    lost = totals[False] / totals[True] - 1
    counted("tunes arranged twice", tunes * len(TUNINGS) * len(PLAYERS))
    aims.say("part of the cost that pruning loses", lost, most=MOST_LOST)


if __name__ == "__main__":
    sys.exit(main())
