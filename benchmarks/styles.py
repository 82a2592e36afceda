"""What comes of the four styles, as a table; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/styles.py``: our songs and folk tunes with plain chords, in each style.
"""

from __future__ import annotations

import multiprocessing
import sys
from collections import Counter
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import get_args

from corpus import song_of, tunes
from measuring import ROOT, Aims, asked, counted, parser_of

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.performing import covered_notes, lay_out, perform
from tercet.song import Song, Style, read_song, transpose_song
from tercet.theory import TUNINGS

STYLES: tuple[Style, ...] = get_args(Style)
SHORT_TUNES = 1
HIGHEST_FRET = 7
LEAST_DIFFERENT = 70.0
MOST_LESS_PLAYABLE = 0.05
"""Percent."""

BARITONE_SEMITONES = -12
"""Players of a baritone take a tune an octave lower than the others."""


def tune_of(arrangement: Arrangement) -> list[Gesture]:
    """Return the strokes of the tune."""
    return [gesture for gesture in arrangement.gestures if gesture.notes[-1].part == "tune"]


def figures_of(song: Song, tuning: str, *, audible: bool) -> dict[Style, Counter[str]]:
    """Return what is counted of a song in each style on some strings; its audible notes too where wanted."""
    found: dict[Style, Counter[str]] = {}
    song = transpose_song(song, BARITONE_SEMITONES)[0] if tuning == "baritone" else song
    written: list[object] = []
    for style in STYLES:
        arrangement = arrange(replace(song, style=style, section_styles=()), TUNINGS[tuning])
        tune = tune_of(arrangement)
        notes = [gesture.notes[-1] for gesture in tune]
        played = [
            (gesture.start_beat, gesture.length_beat, note.midi)
            for gesture, note in zip(tune, notes, strict=True)
        ]
        written = written or list(played)
        found[style] = Counter(
            {
                "notes": len(notes),
                "other notes": sum(now != old for now, old in zip(played, written, strict=True)),
                "playable": sum(not note.off_neck and (note.fret or 0) <= HIGHEST_FRET for note in notes),
                "steps": max(len(notes) - 1, 0),
                "different strings": sum(old.string != new.string for old, new in pairwise(notes)),
                "rolls": sum(gesture.action == "roll" for gesture in tune),
                "strums": sum(gesture.layer == "strums" for gesture in arrangement.gestures),
                "behind": sum(
                    gesture.action == "single" and gesture.notes[-1].part == "chord"
                    for gesture in arrangement.gestures
                ),
                "covered": len(covered_notes(perform(arrangement, lay_out(arrangement)))) if audible else 0,
            }
        )
    return found


def main() -> int:
    """Measure and print; 1 if a figure misses its aim."""
    parser = parser_of("Count what comes of each style.", 1)
    parser.add_argument("--tunes", type=int, default=104, help="how many folk tunes (default 104)")
    options = asked(parser)
    ours = [read_song(path) for path in sorted((ROOT / "songs").glob("*.yaml"))]
    folk = [song_of(tune) for tune in tunes(SHORT_TUNES if options.short else options.tunes)]
    aims = Aims(judged=not options.short)
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        for title, songs in (("our songs", ours), (f"{len(folk)} folk tunes", folk)):
            for tuning in ("high-g", "low-g", "baritone"):
                high = tuning == "high-g"
                sums: dict[Style, Counter[str]] = {style: Counter() for style in STYLES}
                for found in pool.imap(partial(figures_of, tuning=tuning, audible=high), songs, chunksize=2):
                    for style, figures in found.items():
                        sums[style].update(figures)
                counted("notes", sums["rolls"]["notes"])
                _show(f"{title}, {tuning}", sums)
                _judge(f"{title}, {tuning}", sums, aims, high=high)
    return aims.exit_code


def _percent(figures: Counter[str], part: str, whole: str) -> float:
    return 100.0 * figures[part] / max(figures[whole], 1)


ROWS = {
    "notes on another string than the one before, %": ("different strings", "steps"),
    "playable notes, %": ("playable", "notes"),
    "rolled notes, %": ("rolls", "notes"),
    "strings struck behind, for each note, %": ("behind", "notes"),
    "strums, for each note, %": ("strums", "notes"),
    "notes that don't stand clear, %": ("covered", "notes"),
}


def _show(title: str, sums: dict[Style, Counter[str]]) -> None:
    print(f"\n{title}\n")
    print("| " + " | ".join(["", *STYLES]) + " |\n" + "|---" * (len(STYLES) + 1) + "|")
    for row, (part, whole) in ROWS.items():
        print(
            "| "
            + " | ".join([row, *(f"{_percent(sums[style], part, whole):.1f}" for style in STYLES)])
            + " |"
        )


def _judge(title: str, sums: dict[Style, Counter[str]], aims: Aims, *, high: bool) -> None:
    usual = _percent(sums["rolls"], "playable", "notes")
    for style in STYLES:
        aims.say(
            f"{title}, {style}: notes that differ from the tune in rolls", sums[style]["other notes"], most=0
        )
        less = usual - _percent(sums[style], "playable", "notes")
        aims.say(f"{title}, {style}: fewer playable notes than in rolls, %", less, most=MOST_LESS_PLAYABLE)
    aims.say(f"{title}, plain and broken: rolls", sums["plain"]["rolls"] + sums["broken"]["rolls"], most=0)
    if high:
        share = _percent(sums["ringing"], "different strings", "steps")
        aims.say(f"{title}: neighbouring notes on different strings, %", share, least=LEAST_DIFFERENT)
        aims.say(f"{title}, broken: notes that don't stand clear", sums["broken"]["covered"], most=0)


if __name__ == "__main__":
    sys.exit(main())
