"""Checks of a take by what a listener would measure; they know no more of the performer than the notes it hands out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from fractions import Fraction
from itertools import pairwise
from math import log10
from statistics import fmean
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "gestures_of",
    "integrated_s",
    "late_s",
    "layer_levels_db",
    "missing_notes",
    "overlaps",
    "roll_faults",
    "spectrum_slope",
]

LEAST_STEP_S, MOST_STEP_S, MOST_SPREAD_S = 0.015, 0.030, 0.090
ROUNDING_S = 1e-9


class PlayedNote(Protocol):
    """What the checks look at."""

    @property
    def onset_s(self) -> float: ...
    @property
    def length_s(self) -> float: ...
    @property
    def level_db(self) -> float: ...
    @property
    def string(self) -> int: ...
    @property
    def midi(self) -> int: ...
    @property
    def layer(self) -> str: ...
    @property
    def action(self) -> str: ...
    @property
    def gesture(self) -> int: ...
    @property
    def beat(self) -> Fraction: ...


def gestures_of(notes: Iterable[PlayedNote]) -> dict[int, list[PlayedNote]]:
    """Return the notes of each gesture in the order struck."""
    found: dict[int, list[PlayedNote]] = defaultdict(list)
    for note in sorted(notes, key=lambda note: note.onset_s):
        found[note.gesture].append(note)
    return dict(found)


def overlaps(notes: Iterable[PlayedNote]) -> list[tuple[PlayedNote, PlayedNote]]:
    """Return pairs of notes that sound on one string at the same time."""
    pairs = []
    last: dict[int, PlayedNote] = {}
    for note in sorted(notes, key=lambda note: note.onset_s):
        before = last.get(note.string)
        if before is not None and before.onset_s + before.length_s > note.onset_s + ROUNDING_S:
            pairs.append((before, note))
        last[note.string] = note
    return pairs


def roll_faults(notes: Iterable[PlayedNote], hurried: bool = False) -> list[str]:
    """Return what is wrong with the rolls: order of strings, distance in time, the tune not loudest.

    `hurried` allows steps shorter than 15 ms, where one gesture follows another closely.
    """
    faults = []
    for number, struck in gestures_of(notes).items():
        if struck[0].action != "roll":
            continue
        strings = [note.string for note in struck]
        if strings != sorted(strings, reverse=True):
            faults.append(f"gesture {number}: strings {strings}")
        if any(note.level_db >= struck[-1].level_db for note in struck[:-1]):
            faults.append(f"gesture {number}: the last string isn't the loudest")
        steps_s = [late.onset_s - soon.onset_s for soon, late in pairwise(struck)]
        least_s = 0.0 if hurried else LEAST_STEP_S - ROUNDING_S
        if any(not least_s <= step_s <= MOST_STEP_S + ROUNDING_S for step_s in steps_s):
            faults.append(f"gesture {number}: steps {steps_s}")
        if struck[-1].onset_s - struck[0].onset_s > MOST_SPREAD_S + ROUNDING_S:
            faults.append(f"gesture {number}: too wide")
    return faults


def layer_levels_db(notes: Iterable[PlayedNote]) -> dict[str, float]:
    """Return the mean level of each layer's gestures, the powers of a gesture's strings added."""
    levels: dict[str, list[float]] = defaultdict(list)
    for struck in gestures_of(notes).values():
        power = sum(10.0 ** (note.level_db / 10.0) for note in struck)
        levels[struck[0].layer].append(10.0 * log10(power))
    return {layer: fmean(values) for layer, values in levels.items()}


def late_s(notes: Iterable[PlayedNote], due_s: Mapping[Fraction, float]) -> list[tuple[int, float]]:
    """Return for each gesture how late its last string comes after the time that its beat is due."""
    return [
        (number, struck[-1].onset_s - due_s[struck[-1].beat]) for number, struck in gestures_of(notes).items()
    ]


def missing_notes(
    notes: Iterable[PlayedNote], written: Iterable[tuple[Fraction, int, int]]
) -> list[tuple[Fraction, int, int]]:
    """Return written notes (beat, string, key) that nobody plays."""
    played = {(note.beat, note.string, note.midi) for note in notes}
    return [place for place in written if place not in played]


def integrated_s(tempo: NDArray[np.float64], beats: float, beat_s: float) -> float:
    """Return how long beats last by adding up 1/tempo at evenly spaced places (trapezoids)."""
    return float(np.trapezoid(1.0 / tempo, dx=beats / (len(tempo) - 1)) * beat_s)


def spectrum_slope(runs: NDArray[np.float64]) -> float:
    """Return the slope of the power spectrum on logarithmic scales, averaged over runs (run, place).

    Power is averaged over bands of equal width in the logarithm, so that the many high bins don't outvote the low.
    −1 is pink, 0 is white.
    """
    length = runs.shape[1]
    window = np.hanning(length)
    power = (np.abs(np.fft.rfft((runs - runs.mean(axis=1, keepdims=True)) * window, axis=1)) ** 2).mean(
        axis=0
    )
    frequency = np.fft.rfftfreq(length)
    edges = np.geomspace(2.0 / length, 0.5, 8)
    bands = [(frequency >= low) & (frequency <= high) for low, high in pairwise(edges)]
    x = [float(np.log(frequency[band]).mean()) for band in bands]
    y = [float(np.log(power[band]).mean()) for band in bands]
    return float(np.polyfit(x, y, 1)[0])
