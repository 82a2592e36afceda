"""How much the sampler works beside FluidSynth: the same notes, on the built-in ukulele; see README.md.

Run as ``.venv/bin/python benchmarks/players.py``. The players take turns in one process; what they need for the first
time (samples; what is measured of the font) is told apart.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from statistics import median

from measuring import Aims, asked, counted, parser_of
from performing import three_minutes

from tercet.performing import lay_out, perform
from tercet.sound import Synthesiser
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.sampler import UkuleleSampler
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.ukulele import ready_built_in

LEAST_RATIO, FIRST_S = 5.0, 1.0
"""Aims: FluidSynth works at least so many times as much, and the sampler at most so long when nothing is there yet."""


def main() -> int:
    """Let both players play, and print what each worked."""
    given = asked(parser_of("Time the sampler beside FluidSynth.", 9))
    aims = Aims(judged=not given.short)
    made = three_minutes()
    take = perform(made, lay_out(made, range(8) if given.short else None))
    font = ready_built_in()
    with tempfile.TemporaryDirectory() as cache:
        os.environ["TERCET_CACHE"] = cache
        players: dict[str, Synthesiser] = {
            "sampler": UkuleleSampler(),
            "FluidSynth": FluidSynthesiser(SoundFont(font, 8, 24)),
        }
        runs: dict[str, list[float]] = {name: [] for name in players}
        for _ in range(given.rounds + 1):
            for name, player in players.items():
                start_s = time.process_time()
                stems = player.stems(take, made.song.layers)
                runs[name].append(time.process_time() - start_s)
                counted(f"frames, {name}", stems.length_frames)
    for name, (first_s, *again_s) in runs.items():
        print(f"  {name:<12} {first_s:6.3f} s worked the first time, {median(again_s):6.3f} s again")
    aims.say("sampler, nothing made yet, seconds of the processor", runs["sampler"][0], most=FIRST_S)
    ratios = [fluid / own for own, fluid in zip(runs["sampler"][1:], runs["FluidSynth"][1:], strict=True)]
    aims.say("FluidSynth / sampler, worked, the same notes, median", median(ratios), least=LEAST_RATIO)
    print(f"  {'… of the rounds':<62} {min(ratios):.2f} to {max(ratios):.2f}")
    return aims.exit_code


if __name__ == "__main__":
    sys.exit(main())
