"""From marks to levels: what is written becomes decibels around mf, and decibels become velocities.

A mark is a step of 4 dB; a bare mark sets the melody and the other layers keep their distance. A level belongs
to a whole gesture (a note, a roll, a strum): its strings share it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import log10

from render.arrange import Gesture
from render.song import LAYERS, Bar, Dynamics, Layer

__all__ = [
    "MARK_LEVEL_DB",
    "LevelLine",
    "gesture_level_db",
    "level_lines",
    "string_levels_db",
    "velocity_of_level",
]

MARK_LEVEL_DB: dict[str, float] = {
    "ppp": -16.0, "pp": -12.0, "p": -8.0, "mp": -4.0, "mf": 0.0, "f": 4.0, "ff": 8.0, "fff": 12.0,
}  # fmt: skip
"""Level of each dynamic mark relative to mf."""

ACCENT_DB = 3.0
"""An accent mark, or an accented slot of a strum pattern."""

UNDER_TUNE_DB = 6.0
"""How far the strings under the tune of a roll lie below the tune's string."""

TUNE_BETWEEN_DB = 4.0
"""A note of the tune that is not rolled lies at most this far under the melody, so that the tune stays whole."""

LOUDEST_VELOCITY = 127
_LOUDEST_DB = MARK_LEVEL_DB["fff"]


@dataclass(frozen=True, slots=True)
class _Point:
    """From `beat` on the level is `level_db`, or moves evenly to the next point where `moving`."""

    beat: Fraction
    level_db: float
    moving: bool = False


@dataclass(frozen=True, slots=True)
class LevelLine:
    """The level of one layer along the piece as played, in dB relative to mf."""

    points: tuple[_Point, ...]

    def at(self, beat: Fraction) -> float:
        """Return the level at a beat of the piece; before the first point it is the first point's."""
        after = bisect_right(self.points, beat, key=lambda point: point.beat)
        here = self.points[max(after - 1, 0)]
        if not here.moving or after >= len(self.points):
            return here.level_db
        there = self.points[after]
        along = float((beat - here.beat) / (there.beat - here.beat))
        return here.level_db + along * (there.level_db - here.level_db)


def level_lines(bars: Sequence[Bar], dynamics: Dynamics) -> dict[Layer, LevelLine]:
    """Return the level of each layer along the piece, from the marks in force and the hairpins between them.

    A hairpin ends at the next mark that sets its layer. If that is no dynamic, or none comes, it leads one step
    of 4 dB up or down.
    """
    base = {layer: MARK_LEVEL_DB[dynamics.of(layer)] for layer in LAYERS}
    lines: dict[Layer, LevelLine] = {}
    for layer in LAYERS:
        distance = base[layer] - base["melody"]
        points = [_Point(Fraction(0), base[layer])]
        direction = 0
        for beat, kind, value, mark_layer in _events(bars):
            if mark_layer not in (None, layer):
                continue
            level = points[-1].level_db + 4.0 * direction
            if kind == "dynamic":
                level = MARK_LEVEL_DB[value] + (distance if mark_layer is None else 0.0)
            direction = {"<": 1, ">": -1}.get(value, 0) if kind == "hairpin" else 0
            if beat == points[-1].beat:
                points.pop()
            points.append(_Point(beat, level, moving=direction != 0))
        if direction and bars:
            end = bars[-1].start_beat + bars[-1].length_beat
            points.append(_Point(end, points[-1].level_db + 4.0 * direction))
        lines[layer] = LevelLine(tuple(points))
    return lines


def _events(bars: Sequence[Bar]) -> list[tuple[Fraction, str, str, Layer | None]]:
    """Return the marks of the piece in order: beat, kind, value, layer.

    Accents and breaths end no hairpin: they belong to single notes.
    """
    ends_hairpin = ("dynamic", "hairpin", "rit", "a-tempo", "fermata")
    return sorted(
        (
            (bar.start_beat + mark.at_beat, mark.kind, mark.value, mark.layer)
            for bar in bars
            for mark in bar.marks
            if mark.kind in ends_hairpin
        ),
        key=lambda event: event[0],
    )


def gesture_level_db(gesture: Gesture, lines: dict[Layer, LevelLine]) -> float:
    """Return the level of a whole gesture relative to mf: its layer's line, its part and its accent."""
    level = lines[gesture.layer].at(gesture.start_beat)
    if gesture.layer == "between" and any(note.part == "tune" for note in gesture.notes):
        level = max(level, lines["melody"].at(gesture.start_beat) - TUNE_BETWEEN_DB)
    return level + ACCENT_DB * gesture.accent


def string_levels_db(gesture: Gesture, level_db: float) -> tuple[float, ...]:
    """Share a gesture's level among its strings so that their powers add up to it.

    In a roll the tune's string stands `UNDER_TUNE_DB` above the others; in a strum all are alike. Powers of
    strings that don't move together add: ``L = 10 · log10 Σ 10^(Lᵢ/10)``.
    """
    under = [
        0.0 if note.part != "chord" or gesture.layer == "strums" else -UNDER_TUNE_DB for note in gesture.notes
    ]
    total = 10.0 * log10(sum(10.0 ** (part / 10.0) for part in under))
    return tuple(level_db + part - total for part in under)


def velocity_of_level(level_db: float) -> int:
    """Return the MIDI velocity, 1 to 127, of a level relative to mf; fff is 127.

    The square law of SoundFont 2.04, section 8.4.1: ``dB = 40 · log10(v/127)``.
    """
    velocity = round(float(LOUDEST_VELOCITY * 10.0 ** ((level_db - _LOUDEST_DB) / 40.0)))
    return min(max(velocity, 1), LOUDEST_VELOCITY)
