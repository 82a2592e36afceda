"""How loud a sound is on each string, fret and velocity, measured through the synthesiser that will play it.

Fonts differ: neighbouring keys of the commonest ones lie up to 10 dB apart at one velocity, and how velocity becomes
level is up to each font. So nothing is taken from a formula. A few velocities from soft to hard are struck on every
fret of a string, the K-weighted level of the 400 ms from the stroke is kept, and a wanted level is turned
into a velocity by the inverse.

A string is measured from its open key up, by itself and in a fixed order, so its table doesn't depend on what else was
measured before: the same song gives the same bytes, whether the table was kept or is new. Tables are kept in the user's
cache, under the sound (`Synthesiser.identity`), the string and what this version measures.
"""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import log10
from statistics import median

import numpy as np

from tercet.caches import Cache
from tercet.performing import Take, TakeNote
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.k_weighting import GESTURE_S, gesture_levels_lufs
from tercet.sound.note_measures import CLICK_RATIO, click_ratio
from tercet.sound.stems import StemName, Synthesiser
from tercet.theory import LAST_FRET

__all__ = [
    "FRETS",
    "REFERENCE_OPEN_MIDI",
    "REFERENCE_STRING",
    "SILENT_LUFS",
    "VELOCITIES",
    "StringLoudness",
    "keep_string",
    "kept_string",
    "measure_string",
    "nominal_level_db",
    "reference_lufs",
]

FRETS = LAST_FRET + 1
"""Frets that are measured, the open string included; higher ones are taken to be as loud as the last."""

VELOCITIES = (1, 8, 18, 30, 44, 60, 80, 102, 127)
"""Velocities struck; between two of them the level goes evenly with the logarithm of the velocity."""

REFERENCE_STRING, REFERENCE_OPEN_MIDI = 2, 64
"""Where mf is taken from: the second string of a ukulele, E4, whatever the instrument's own tuning, so that the sets of
a mixed class are as loud as one another."""

REFERENCE_FRETS = 13
LOUDEST_DB = 12.0
"""fff is the hardest stroke in the middle of the reference string; mf lies 12 dB below it."""

SILENT_LUFS = -100.0
"""What is softer than this isn't heard."""

LEVEL_DIGITS = 4

VERSION = 1
"""Raised whenever other figures are measured from the same sound."""

_LEAD_S = 0.1
_PACE_S = 0.46
"""From probe to probe: a string is let go after its 400 ms and has fallen by more than 70 dB when the next comes."""


def nominal_level_db(velocity: int) -> float:
    """Return the level of a velocity by the square law, fff being 127: for synthesisers that go by the level."""
    return LOUDEST_DB + 40.0 * log10(velocity / 127)


@dataclass(frozen=True)
class StringLoudness:
    """The loudness table of one string.

    Parameters
    ----------
    string, open_midi
        Which string, and the key that sounds when it is open.
    levels_lufs
        For each fret the K-weighted level of each of `VELOCITIES`, not falling from one to the next.
    clicking_frets
        On how many frets a hard stroke clicks.
    """

    string: int
    open_midi: int
    levels_lufs: tuple[tuple[float, ...], ...]
    clicking_frets: int = 0

    @cached_property
    def _by_velocity(self) -> tuple[tuple[float, ...], ...]:
        """For each fret the level of every velocity from 1 to 127."""
        return tuple(_filled(levels) for levels in self.levels_lufs)

    def level_lufs(self, midi: int, velocity: int) -> float:
        """Return how loud a key of the string is at a velocity."""
        return self._by_velocity[self._fret(midi)][velocity - 1]

    def velocity(self, midi: int, level_lufs: float) -> int:
        """Return the velocity, 1 to 127, that comes nearest to a level; the softest of those that are alike."""
        levels = self._by_velocity[self._fret(midi)]
        above = min(bisect_left(levels, level_lufs), len(levels) - 1)
        below = max(above - 1, 0)
        nearer = below if level_lufs - levels[below] <= levels[above] - level_lufs else above
        return bisect_left(levels, levels[nearer]) + 1

    def _fret(self, midi: int) -> int:
        return min(max(midi - self.open_midi, 0), len(self.levels_lufs) - 1)


def _filled(levels: Sequence[float]) -> tuple[float, ...]:
    """Return the levels of velocities 1 to 127 from those of `VELOCITIES`."""
    found = []
    for velocity in range(1, 128):
        after = bisect_left(VELOCITIES, velocity)
        if VELOCITIES[after] == velocity:
            found.append(levels[after])
            continue
        low, high = VELOCITIES[after - 1], VELOCITIES[after]
        along = log10(velocity / low) / log10(high / low)
        found.append(round(levels[after - 1] + along * (levels[after] - levels[after - 1]), LEVEL_DIGITS))
    return tuple(found)


def measure_string(
    synthesiser: Synthesiser, string: int, open_midi: int, keys: frozenset[int] | None = None
) -> StringLoudness:
    """Strike every fret of a string at each of `VELOCITIES` and measure it; about 0.2 s.

    Parameters
    ----------
    synthesiser
        Plays the probes, just as it plays songs.
    string
        1 to 4.
    open_midi
        The key of the open string.
    keys
        The keys that the sound has, all of them without it. A fret that has no sound is taken to be as loud as the
        nearest that has one.

    Raises
    ------
    SynthesiserError, SoundFontError
        As `Synthesiser.stems`.
    """
    frets = [fret for fret in range(FRETS) if _plays(open_midi + fret, keys)]
    probes = [(fret, velocity) for fret in frets for velocity in VELOCITIES]
    notes = tuple(
        _probe(_LEAD_S + _PACE_S * place, string, fret, open_midi + fret, velocity)
        for place, (fret, velocity) in enumerate(probes)
    )
    take = Take(notes, (), (), (), _LEAD_S + _PACE_S * (len(notes) + 1))
    layer: StemName = "melody"
    sound = synthesiser.stems(take, (layer,)).by_name[layer]
    levels = gesture_levels_lufs(sound, [note.onset_s for note in notes], SAMPLE_RATE_HZ)
    rising = np.maximum.accumulate(levels.reshape(len(frets), len(VELOCITIES)), axis=1).round(LEVEL_DIGITS)
    rows = {fret: tuple(map(float, row)) for fret, row in zip(frets, rising, strict=True)}
    length = round(GESTURE_S * SAMPLE_RATE_HZ)
    hardest = [round(note.onset_s * SAMPLE_RATE_HZ) for note in notes if note.velocity == VELOCITIES[-1]]
    clicking = sum(
        click_ratio(sound[start : start + length].sum(axis=1), SAMPLE_RATE_HZ) >= CLICK_RATIO
        for start in hardest
    )
    silent = (2.0 * SILENT_LUFS,) * len(VELOCITIES)
    return StringLoudness(
        string,
        open_midi,
        tuple(rows[min(rows, key=lambda own: abs(own - fret))] if rows else silent for fret in range(FRETS)),
        clicking,
    )


def _plays(midi: int, keys: frozenset[int] | None) -> bool:
    return midi <= 127 and (keys is None or midi in keys)


def _probe(onset_s: float, string: int, fret: int, midi: int, velocity: int) -> TakeNote:
    """Return one stroke to be measured, in the front layer, which no synthesiser darkens."""
    return TakeNote(
        onset_s=onset_s,
        length_s=GESTURE_S,
        level_db=nominal_level_db(velocity),
        velocity=velocity,
        midi=midi,
        string=string,
        fret=fret,
        layer="melody",
        part="tune",
        action="single",
        gesture=0,
        bar_index=0,
        section="probe",
        pass_number=1,
        phrase=0,
        beat=Fraction(0),
        length_beat=Fraction(0),
    )


def reference_lufs(table: StringLoudness) -> float:
    """Return the level that mf stands for, from the table of the reference string."""
    return round(median(row[-1] for row in table.levels_lufs[:REFERENCE_FRETS]) - LOUDEST_DB, LEVEL_DIGITS)


# ---- what was measured before


def kept_string(cache: Cache, identity: str, string: int, open_midi: int) -> StringLoudness | None:
    """Return a table that was kept, or None if there is none, or none that is whole."""
    data = cache.get(_key(identity, string, open_midi))
    if data is None:
        return None
    rows, clicking = json.loads(data)
    return StringLoudness(string, open_midi, tuple(map(tuple, rows)), clicking)


def keep_string(cache: Cache, identity: str, table: StringLoudness) -> None:
    """Keep a table; where that isn't possible, go on without."""
    data = json.dumps([table.levels_lufs, table.clicking_frets]).encode()
    cache.keep(_key(identity, table.string, table.open_midi), data)


def _key(identity: str, string: int, open_midi: int) -> str:
    return f"{VERSION}/{identity}/{string}/{open_midi}/{FRETS}/{VELOCITIES}"
