"""How long it takes to get to know a sound, and to perform a song of three minutes; see README.md.

Run as ``.venv/bin/python benchmarks/performing.py FONT…``. Seconds of the processor, so that a busy machine counts
alike. Ends with 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tercet.arrange import Arrangement, arrange, song_tuning  # noqa: E402
from tercet.perform import Take, lay_out, perform  # noqa: E402
from tercet.song import read_song  # noqa: E402
from tercet.song.form import visits_of  # noqa: E402
from tercet.sound.fluid import FluidSynthesiser  # noqa: E402
from tercet.sound.fonts import choose_font  # noqa: E402
from tercet.sound.measured import MeasuredSynthesiser  # noqa: E402

FIRST_S, AGAIN_S, PERFORM_S = 2.0, 0.020, 0.1


def main() -> int:
    """Time both, and print a table."""
    parser = argparse.ArgumentParser(
        description="Time the measuring of sounds, and the performing of a song."
    )
    parser.add_argument("fonts", metavar="FONT", nargs="+", help="sound fonts, as tercet --sound takes them")
    fonts: list[str] = parser.parse_args().fonts
    made = three_minutes()
    take = perform(made, lay_out(made))
    runs = []
    for seed in range(5):
        start_s = time.process_time()
        perform(made, lay_out(made), seed=100 + seed)
        runs.append(time.process_time() - start_s)
    print(
        f"performing {take.length_s:.0f} s, {len(take.notes)} strings: {median(runs):.3f} s (aim {PERFORM_S} s)"
    )
    kept = median(runs) < PERFORM_S
    for font in fonts:
        first_s, again_s = measured_s(font, take)
        kept = kept and first_s < FIRST_S and again_s < AGAIN_S
        print(
            f"measuring {Path(font).stem[:30]}: {first_s:.2f} s (aim {FIRST_S:g} s), "
            f"again {again_s * 1000:.1f} ms (aim {AGAIN_S * 1000:g} ms)"
        )
    return 0 if kept else 1


def three_minutes() -> Arrangement:
    """Return Harbour Lanterns with its form played twice, some 196 s."""
    song = read_song(ROOT / "songs" / "harbour-lanterns.yaml")
    names = [visit.section for visit in song.form] * 2
    return arrange(replace(song, form=visits_of(names)), song_tuning(song))


def measured_s(font: str, take: Take) -> tuple[float, float]:
    """Return how long it takes to measure a sound for the first time, and to find the table again."""
    synthesiser = FluidSynthesiser(choose_font(font, None, None, dict(os.environ)).sound)
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(2):
            measured = MeasuredSynthesiser(synthesiser, lambda: take, folder=Path(folder))
            synthesiser.identity()
            start_s = time.process_time()
            _ = measured.layer_gains_db
            found.append(time.process_time() - start_s)
    return found[0], found[1]


if __name__ == "__main__":
    sys.exit(main())
