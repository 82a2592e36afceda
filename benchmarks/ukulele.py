"""The built-in ukulele measured string by string, fret 0 to 15, through FluidSynth: the table of docs/sound.md.

Run as ``.venv/bin/python benchmarks/ukulele.py``. What is measured is the font that users get; `tests.measure`, which
imports nothing from `tercet`, plays and measures it. The bounds are those that ``tests/sound/test_ukulele_sound.py``
asserts.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from measuring import ROOT, Aims, asked, counted, parser_of
from numpy.typing import NDArray

sys.path.insert(0, str(ROOT))

from tercet.sound.ukulele import ready_built_in
from tests.measure.font_player import RATE_HZ, Strike, notes_alone, play
from tests.measure.plucks import cents_along, gesture_figures, line_figures, ring_figures

OPEN_STRINGS = {11: 69, 12: 64, 13: 60, 14: 67, 15: 55, 21: 64, 22: 59, 23: 55, 24: 50}
"""Bank of each string's preset, and the key of its open string."""

SHORT_BANKS = (11, 24)
PROGRAM, MIDDLE_VELOCITY = 24, 96
LAST_FRET, OCTAVE_FRET = 15, 12
HELD_S, TOUCHED_S = 3.7, 0.41
"""Longer than any sample; longer than a gesture is measured."""

CENTS_AT_S, CENTS_FOR_S = (0.08, 0.3, 0.6), 0.3
LOUD_SHAPES = ((67, 60, 64, 69), (55, 60, 64, 69), (50, 55, 59, 64), (67, 60, 64, 72), (69, 60, 65, 69))


@dataclass(frozen=True)
class StringFigures:
    """One string: its levels and brightness by fret and velocity, its tuning, and early T60 and late against early."""

    levels: NDArray[np.float64]
    centroids: NDArray[np.float64]
    cents: NDArray[np.float64]
    rings: NDArray[np.float64]


def measured(bank: int, velocities: Sequence[int]) -> StringFigures:
    """Measure every fret of a string."""
    path, open_midi = ready_built_in(), OPEN_STRINGS[bank]
    keys = range(open_midi, open_midi + LAST_FRET + 1)
    touched = [
        gesture_figures(
            notes_alone(path, bank, PROGRAM, [(key, velocity) for velocity in velocities], TOUCHED_S), RATE_HZ
        )
        for key in keys
    ]
    held = notes_alone(path, bank, PROGRAM, [(key, MIDDLE_VELOCITY) for key in keys], HELD_S)
    levels, centroids = (np.stack(each) for each in zip(*touched, strict=True))
    cents = [
        cents_along(ring, RATE_HZ, key, CENTS_AT_S, CENTS_FOR_S) for ring, key in zip(held, keys, strict=True)
    ]
    return StringFigures(
        levels, centroids, np.array(cents), np.array([ring_figures(ring, RATE_HZ) for ring in held])
    )


def main() -> int:
    """Measure, and print the table; 1 if a figure leaves its bounds."""
    given = asked(parser_of("Measure the built-in ukulele.", 1))
    velocities = (1, 64, 127) if given.short else range(1, 128)
    strings = [measured(bank, velocities) for bank in (SHORT_BANKS if given.short else OPEN_STRINGS)]
    levels = np.concatenate([string.levels for string in strings])
    brighter = np.concatenate([string.centroids[:, -1] / string.centroids[:, 0] for string in strings])
    cents = np.concatenate([string.cents for string in strings])
    early, late = np.concatenate([string.rings for string in strings]).T
    counted("notes measured", levels.size)
    aims = Aims()
    aims.say("tuning, along the whole ring, most cents off", float(np.abs(cents).max()), most=0.5)
    print(f"  from {cents.min():+.2f} to {cents.max():+.2f} cent")
    if not given.short:
        smallest, largest, off_line, span = np.array([line_figures(each) for each in levels]).T
        aims.say("least step of loudness for a step of velocity, dB", smallest.min(), least=0.1)
        aims.say("largest step, dB", largest.max(), most=0.5)
        aims.say("off a straight line, dB", off_line.max(), most=1.2)
        aims.say("least span of loudness, dB", span.min(), least=34.0)
        aims.say("largest span of loudness, dB", span.max(), most=38.0)
    aims.say("from note to note at one velocity, dB", float(np.ptp(levels, axis=0).max()), most=1.5)
    aims.say("brightness, firmest against softest, least", brighter.min(), least=1.8)
    aims.say("brightness, firmest against softest, median", float(np.median(brighter)), least=2.5)
    for what, fret, least, most in (("open strings", 0, 1.6, 3.2), ("fret 12", OCTAVE_FRET, 0.9, 2.0)):
        own = early[fret :: LAST_FRET + 1]
        aims.say(f"early T60, {what}, least, s", own.min(), least=least)
        aims.say(f"early T60, {what}, most, s", own.max(), most=most)
    aims.say("late T60 against early, least", late.min(), least=1.2)
    print(f"  most {late.max():.2f}")
    aims.say("four strings at velocity 127, dBFS", _loudest_dbfs(), most=-6.0)
    return aims.exit_code


def _loudest_dbfs() -> float:
    """Return the peak of the loudest shape, every string struck as firmly as it can be."""
    shapes = [*LOUD_SHAPES, *(tuple(key + fret for key in LOUD_SHAPES[0]) for fret in range(LAST_FRET + 1))]
    peaks = [
        np.abs(
            play(
                ready_built_in(),
                8,
                PROGRAM,
                [Strike(0, None, midi, 127, channel) for channel, midi in enumerate(shape)],
                RATE_HZ // 2,
            )
        ).max()
        for shape in shapes
    ]
    return float(20 * np.log10(max(peaks)))


if __name__ == "__main__":
    sys.exit(main())
