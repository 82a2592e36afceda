"""Takes and notes made by hand, for the tests of sound."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from tercet.arranging import Action
from tercet.performing import Click, Take, TakeNote
from tercet.song import Layer

RATE_HZ = 48_000


def note(
    onset_s: float = 0.1,
    length_s: float = 0.5,
    midi: int = 69,
    string: int = 1,
    layer: Layer = "melody",
    velocity: int = 90,
    action: Action = "single",
) -> TakeNote:
    return TakeNote(
        onset_s=onset_s,
        length_s=length_s,
        level_db=0.0,
        velocity=velocity,
        midi=midi,
        string=string,
        fret=0,
        layer=layer,
        part="tune",
        action=action,
        gesture=0,
        bar_index=0,
        section="verse",
        pass_number=1,
        phrase=0,
        beat=Fraction(0),
        length_beat=Fraction(1),
    )


def take(notes: Sequence[TakeNote], length_s: float = 1.0, clicks: Sequence[Click] = ()) -> Take:
    return Take(tuple(notes), tuple(clicks), (), (), length_s)


def busy_take(length_s: float = 8.0, note_count: int = 160) -> Take:
    """Return a take in which every string is struck again and again in changing layers."""
    chance = np.random.default_rng(7)
    pace_s = length_s / (note_count / 4)
    notes = [
        note(
            onset_s=0.05 + index * pace_s + 0.02 * float(chance.random()),
            length_s=pace_s,
            midi=open_midi + int(chance.integers(0, 8)),
            string=string,
            layer=("melody", "between", "strums")[int(chance.integers(0, 3))],
            velocity=int(chance.integers(30, 120)),
        )
        for string, open_midi in ((1, 69), (2, 64), (3, 60), (4, 67))
        for index in range(note_count // 4)
    ]
    return take(sorted(notes, key=lambda each: each.onset_s), length_s + 0.1)


def level_db(samples: NDArray[np.float32], start_s: float, end_s: float) -> float:
    """Return the RMS level of a stretch of audio, both sides together."""
    stretch = samples[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)].astype(np.float64)
    return float(10 * np.log10(np.mean(stretch**2) + 1e-20))


def hertz_of(samples: NDArray[np.float32], start_s: float, end_s: float, near_hertz: float) -> float:
    """Return the frequency of the partial nearest to a frequency (within 25 Hz), by how its phase drifts against it."""
    mono = samples[round(start_s * RATE_HZ) : round(end_s * RATE_HZ), 0].astype(np.float64)
    hop, steps = 960, 16
    size = len(mono) - steps * hop
    drifting = mono * np.exp(-2j * np.pi * near_hertz * np.arange(len(mono)) / RATE_HZ)
    window = np.hanning(size)
    phases = np.unwrap([np.angle(drifting[k * hop : k * hop + size] @ window) for k in range(steps + 1)])
    return float(near_hertz + (phases[-1] - phases[0]) / (2 * np.pi) * RATE_HZ / (steps * hop))
