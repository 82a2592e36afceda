"""How near the arranger comes to a good teacher's hands, as a table; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/played_well.py``: our songs, and folk tunes with plain chords, for three kinds of
players. What is measured is measured by `tests/measure/hands.py` from the strokes alone, which imports nothing of ours.
"""

from __future__ import annotations

import multiprocessing
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from zlib import crc32

from corpus import Tune, song_of, tunes
from measuring import ROOT, Aims, asked, counted, parser_of

from tercet.arranging import arrange
from tercet.song import Players, Song, read_song
from tercet.theory import TUNINGS

sys.path.insert(0, str(ROOT))
from tests.arranging.strokes import strokes_of
from tests.measure.hands import Figures, measured

PLAYERS: tuple[Players, ...] = ("beginner", "improving", "free")
JIG = ((Fraction(60), "rolls at 60"), (Fraction(112), "rolls at 112"))
SHORT_TUNES = 4

ROWS: dict[str, tuple[str, dict[str, float]]] = {
    "untaught fingers": ("known shapes under other fingers than are taught, %", dict.fromkeys(PLAYERS, 0.0)),
    "other fingering": (
        "uses of a shape under another fingering than its usual one, %",
        dict.fromkeys(PLAYERS, 3.0),
    ),
    "hasty change": ("changes of three fingers in too little time", {"beginner": 0.0, "improving": 0.0}),
    "grip for one note": (
        "fingers set for one note alone that it doesn't need, % of notes",
        dict.fromkeys(PLAYERS, 1.0),
    ),
    "thirdless, avoidable": ("rolls without a third that could have one, %", dict.fromkeys(PLAYERS, 5.0)),
    "seventh missing": ("rolls over seventh chords without the seventh, %", {"free": 15.0}),
    "no two tones together": ("chords of which no two tones are struck together, %", {}),
    "no two tones, avoidable": ("… though a hand could strike two, %", dict.fromkeys(PLAYERS, 2.0)),
    "equal bar, other hand": (
        "equal bars in equal places under another hand, %",
        dict.fromkeys(PLAYERS, 3.0),
    ),
}
"""What is measured, and the most that may be found of it."""

LEAST_FEWER_ROLLS = 30.0


def figures_of(song: Song, tuning: str = "") -> dict[str, Figures]:
    """Return what is measured of a song for each kind of players, and the rolls of a jig at two tempos."""
    strings = TUNINGS[tuning or "high-g"]
    opens = [pitch.midi for pitch in strings.open_pitches]
    found: dict[str, Figures] = {}
    for players in PLAYERS:
        arrangement = arrange(replace(song, players=players), strings)
        found[players] = measured(strokes_of(arrangement), opens, players)
        if song.meter.upper == 6 and song.meter.lower == 8:
            for tempo, name in JIG:
                jig = arrange(replace(song, players=players, tempo=tempo), strings)
                found[players].found[name] += sum(each.action == "roll" for each in jig.gestures)
    return found


def is_held_out(tune: Tune) -> bool:
    """Whether weights may not be chosen by a tune, only judged: half of all, by name."""
    return crc32(f"{tune.collection} {tune.name}".encode()) % 2 == 1


def our_songs() -> Iterator[Song]:
    """Yield the songs that come with Tercet."""
    for path in sorted((Path(ROOT) / "songs").glob("*.yaml")):
        yield read_song(path)


def main() -> int:
    """Measure and print; 1 if a figure misses its aim."""
    parser = parser_of("Measure how the hands of arrangements are set, and what they strike.", 1)
    parser.add_argument("--tunes", type=int, default=104, help="how many folk tunes (default 104)")
    options = asked(parser)
    songs = list(our_songs())
    folk = list(tunes(SHORT_TUNES if options.short else options.tunes))
    looked_at = [song_of(tune) for tune in folk if not is_held_out(tune)]
    held_out = [song_of(tune) for tune in folk if is_held_out(tune)]
    groups = (
        ("our songs", songs),
        (f"{len(looked_at)} folk tunes to look at", looked_at),
        (f"{len(held_out)} folk tunes held out", held_out),
    )
    aims = Aims(judged=not options.short)
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        for title, some in groups:
            sums: dict[str, Figures] = defaultdict(Figures)
            for found in pool.imap(partial(figures_of), some, chunksize=2):
                for players, figures in found.items():
                    sums[players].add(figures)
            counted("rolls", sum(figures.found["rolls"] for figures in sums.values()))
            _show(title, sums, aims)
    return aims.exit_code


def _show(title: str, sums: dict[str, Figures], aims: Aims) -> None:
    print(f"\n{title}\n")
    print("| " + " | ".join(["", *PLAYERS]) + " |\n" + "|---" * (len(PLAYERS) + 1) + "|")
    for row, (told, _) in ROWS.items():
        cells = [
            f"{sums[players].percent(row):.1f} ({sums[players].found[row]}/{sums[players].among[row]})"
            for players in PLAYERS
        ]
        print("| " + " | ".join([told, *cells]) + " |")
    fewer = {
        players: 100 * (1 - sums[players].found[JIG[1][1]] / max(sums[players].found[JIG[0][1]], 1))
        for players in PLAYERS
    }
    cells = [f"{fewer[players]:.0f} ({sums[players].found[JIG[1][1]]})" for players in PLAYERS]
    print("| " + " | ".join(["fewer rolls in 6/8 at 112 than at 60, %", *cells]) + " |")
    for row, (told, most) in ROWS.items():
        for players, aim in most.items():
            value = sums[players].found[row] if row == "hasty change" else sums[players].percent(row)
            aims.say(f"{title}, {players}: {told}", value, most=aim)
    for players, value in fewer.items():
        aims.say(
            f"{title}, {players}: more rolls than wanted in quick 6/8", LEAST_FEWER_ROLLS - value, most=0.0
        )


if __name__ == "__main__":
    sys.exit(main())
