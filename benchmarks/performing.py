"""How long it takes to get to know a sound, and to perform a song of three minutes; see README.md.

Run as ``.venv/bin/python benchmarks/performing.py [FONT…]``. Seconds of the processor, so that a busy machine counts
alike. Ends with 1 if an aim is missed.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

from measuring import ROOT, Aims, NothingMadeError, asked, counted, font_of_pretty_midi, parser_of

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.performing import Take, lay_out, perform
from tercet.song import read_song
from tercet.song.form import visits_of
from tercet.sound.measured import MeasuredSynthesiser
from tercet.sound.players import player_of
from tercet.sound.soundfont_choice import choose_sound

FIRST_S, AGAIN_S, PERFORM_S = 2.0, 0.020, 0.1


def main() -> int:
    """Time both, and print a table."""
    parser = parser_of("Time the measuring of sounds, and the performing of a song.", 5)
    parser.add_argument(
        "fonts", metavar="FONT", nargs="*", help="sound fonts (default: the one inside pretty_midi's package)"
    )
    given = asked(parser)
    aims = Aims(judged=not given.short)
    made = three_minutes()
    take = perform(made, lay_out(made))
    counted(f"strings performed, {take.length_s:.0f} s", len(take.notes))
    runs = []
    for seed in range(given.rounds):
        start_s = time.process_time()
        perform(made, lay_out(made), seed=100 + seed)
        runs.append(time.process_time() - start_s)
    aims.say("performing, seconds of the processor", median(runs), most=PERFORM_S)
    for font in given.fonts or [str(font_of_pretty_midi())]:
        first_s, again_s = measured_s(font, take)
        aims.say(f"measuring {Path(font).stem[:30]}, seconds of the processor", first_s, most=FIRST_S)
        aims.say("… its table found again", again_s, most=AGAIN_S)
    return aims.exit_code


def three_minutes() -> Arrangement:
    """Return Harbour Lanterns with its form played twice, some 196 s."""
    song = read_song(ROOT / "songs" / "harbour-lanterns.yaml")
    names = [visit.section for visit in song.form] * 2
    return arrange(replace(song, form=visits_of(names)), song_tuning(song))


def measured_s(font: str, take: Take) -> tuple[float, float]:
    """Return how long it takes to measure a sound for the first time, and to find the table again."""
    synthesiser = player_of(choose_sound(font, None, None, dict(os.environ)).sound)
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(2):
            tables = [*Path(folder).rglob("*")]
            measured = MeasuredSynthesiser(synthesiser, lambda: take, folder=Path(folder))
            synthesiser.identity()
            start_s = time.process_time()
            _ = measured.layer_gains_db
            found.append(time.process_time() - start_s)
            if len(found) == 1 and [*Path(folder).rglob("*")] == tables:
                raise NothingMadeError("no table was kept, so nothing was measured for the first time")
    return found[0], found[1]


if __name__ == "__main__":
    sys.exit(main())
