"""From marks to levels: what is written becomes decibels around mf, and decibels become velocities.

A mark is a step of 4 dB; a bare mark sets the melody and the other layers keep their distance. A level belongs
to a whole gesture (a note, a roll, a strum): its strings share it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, groupby
from math import log10

from tercet.arranging import Gesture
from tercet.song import LAYERS, Bar, Dynamics, Layer, MarkKind, played_visits
from tercet.theory import MARK_LEVEL_DB

__all__ = [
    "FLAT_LEVEL_DB",
    "LevelLine",
    "PlacedMark",
    "flat_levels_db",
    "gesture_level_db",
    "level_lines",
    "placed_marks",
    "string_levels_db",
    "velocity_of_level",
]


@dataclass(frozen=True, slots=True)
class PlacedMark:
    """A mark at its place in the piece as played.

    Parameters
    ----------
    beat
        Where it stands.
    kind, value, layer
        As in `tercet.song.Mark`.
    visit_end_beat
        Where the playing of its section ends: at the next one's pick-up, if that has one. A mark in a pick-up
        belongs to the section that it leads into.
    """

    beat: Fraction
    kind: MarkKind
    value: str
    layer: Layer | None
    visit_end_beat: Fraction


def placed_marks(bars: Sequence[Bar]) -> tuple[PlacedMark, ...]:
    """Return the marks of the piece as played, in order; marks at one place stay in the order written."""
    visits = played_visits(bars)
    starts = [visit.start_beat for visit in visits]
    marks = []
    for bar in bars:
        for mark in bar.marks:
            beat = bar.start_beat + mark.at_beat
            visit = visits[bisect_right(starts, beat) - 1]
            marks.append(PlacedMark(beat, mark.kind, mark.value, mark.layer, visit.end_beat))
    return tuple(sorted(marks, key=lambda mark: mark.beat))


# ---- levels


STEP_DB = 4.0
"""From one mark to the next; a hairpin that leads to no mark goes so far."""

ACCENT_DB = 3.0
"""An accent mark, or an accented slot of a strum pattern."""

UNDER_TUNE_DB = 6.0
"""How far the strings under the tune of a roll lie below the tune's string."""

LEAST_UNDER_TUNE_DB = 3.0
"""However a roll is struck, no other string comes nearer to the tune's than this."""

NOT_UNDER_TUNE_DB = 14.0
"""How far a string of a roll that doesn't sound below the tune (in unison with it, or above) is held back: about 30
steps of velocity, so that the tune stays the one that is heard."""

DOWN_SWEEP_DB, UP_SWEEP_DB = 1.0, 1.5
"""By how much each string of a strum is softer than the one struck before it: the hand spends itself along the way, a
finger that comes up more than a hand that falls. Over four strings that is as much as from mark to mark at most."""

SWEEP_UNEVEN_PART = 0.5
LEAST_SWEEP_DB = 0.7
"""Strings of a strum vary by this part of what those of a roll do, and each is at least so much softer than the one
struck before it."""

ALONG_STRUM_DB, LEAST_ALONG_STRUM_DB = 2.4, 2.1
"""However few strings a strum has, the last is usually and at least so much softer than the first: one hears which way
the hand goes."""

TUNE_BETWEEN_DB = 4.0
"""A note of the tune that is not rolled lies at most this far under the melody, so that the tune stays whole."""

BEHIND_TUNE_DB = 9.5
"""A string of a broken chord lies so far under the notes of the tune that aren't rolled: with what it has faded until
the next of them, it leaves them 10 dB clear."""

WAY_BACK: dict[Layer, float] = {"second": 0.25, "between": 0.5}
"""How far back from the melody towards the strums a layer lies, if a song's own marks don't set those apart."""

FLAT_LEVEL_DB = 0.0
"""Every gesture of a flat take."""

FLAT_CHOP_DB = -6.0
"""A chop of a flat take. All its sound comes within a few hundredths of a second: as loud as a note over 400 ms, it
would peak some 8 dB above one (measured in the built-in ukulele), and leave no room to make the take as loud as the
demo."""

LOUDEST_VELOCITY = 127

LEVEL_DIGITS = 9
"""Decimals of a level: logarithms may differ in their last bit from machine to machine, what is played may not."""

_LOUDEST_DB = MARK_LEVEL_DB["fff"]


@dataclass(frozen=True, slots=True)
class _Reach:
    """From `beat` to the next reach the level moves evenly from `level_db` to `end_db`."""

    beat: Fraction
    level_db: float
    end_db: float


class LevelLine:
    """The level of one layer along the piece as played, in dB relative to mf."""

    def __init__(self, reaches: Sequence[_Reach]) -> None:
        self._reaches = reaches
        self._beats = [float(reach.beat) for reach in reaches]

    def at(self, beat: Fraction) -> float:
        """Return the level at a beat of the piece."""
        place = float(beat)
        after = bisect_right(self._beats, place)
        here = self._reaches[max(after - 1, 0)]
        if here.level_db == here.end_db or after == len(self._beats):
            return here.level_db
        along = (place - self._beats[after - 1]) / (self._beats[after] - self._beats[after - 1])
        return here.level_db + along * (here.end_db - here.level_db)


def level_lines(
    bars: Sequence[Bar], dynamics: Dynamics, front_lu: float | None = None
) -> dict[Layer, LevelLine]:
    """Return the level of each layer along the piece, from the marks in force and the hairpins between them.

    A bare dynamic gives every layer its distance from the melody in `dynamics`, whatever a layer's own mark said
    before. A hairpin ends at the next dynamic or hairpin of its layer, at the latest at its section's end; marks of
    time, accents and breaths don't end it. It leads to the dynamic that stands there, if that lies in its direction.
    If not, or if none stands there, it leads one step of 4 dB up or down, and the dynamic comes at once (`<` to `p`).

    With `front_lu` the strums lie so far under the melody instead, and what is in between as far in between as before.
    """
    marks = [mark for mark in placed_marks(bars) if mark.kind in ("dynamic", "hairpin")]
    base = {layer: MARK_LEVEL_DB[dynamics.of(layer)] for layer in LAYERS}
    distances = {layer: base[layer] - base["melody"] for layer in LAYERS}
    if front_lu is not None:
        marked = -distances["strums"]
        parts = {
            layer: distances[layer] / marked if marked > 0.0 else -part for layer, part in WAY_BACK.items()
        }
        behind = {layer: min(max(part, -1.0), 1.0) * front_lu for layer, part in parts.items()}
        distances = {**behind, "melody": 0.0, "strums": -front_lu}
    return {
        layer: _line(layer, base["melody"] + distances[layer], distances[layer], marks) for layer in LAYERS
    }


def _line(layer: Layer, level_db: float, distance_db: float, marks: Sequence[PlacedMark]) -> LevelLine:
    """Return one layer's line from its first level and its distance from the melody."""
    reaches = [_Reach(Fraction(0), level_db, level_db)]
    hairpin: PlacedMark | None = None
    applying = [mark for mark in marks if mark.layer in (None, layer)]
    for beat, group in groupby(applying, key=lambda mark: mark.beat):
        here = sorted(group, key=lambda mark: mark.layer is not None)
        marked_db = _marked_db(here, distance_db)
        if hairpin is not None:
            _close(reaches, hairpin, beat, marked_db)
        hairpin = next((mark for mark in reversed(here) if mark.kind == "hairpin"), None)
        level_db = marked_db if marked_db is not None else reaches[-1].end_db
        if reaches[-1].beat == beat:
            reaches.pop()
        reaches.append(_Reach(beat, level_db, level_db))
    if hairpin is not None:
        _close(reaches, hairpin, hairpin.visit_end_beat, None)
    return LevelLine(reaches)


def _marked_db(here: Sequence[PlacedMark], distance_db: float) -> float | None:
    """Return the level that the dynamics at one place set, a layer's own coming last; None without one."""
    told = None
    for mark in here:
        if mark.kind == "dynamic":
            told = MARK_LEVEL_DB[mark.value] + (distance_db if mark.layer is None else 0.0)
    return told


def _close(reaches: list[_Reach], hairpin: PlacedMark, next_beat: Fraction, marked_db: float | None) -> None:
    """Let the last reach lead to where its hairpin ends, and go on from there."""
    start = reaches.pop()
    step_db = STEP_DB if hairpin.value == "louder" else -STEP_DB
    end_db = start.level_db + step_db
    end_beat = min(next_beat, hairpin.visit_end_beat)
    if next_beat == end_beat and marked_db is not None and (marked_db - start.level_db) * step_db > 0.0:
        end_db = marked_db
    reaches.append(_Reach(start.beat, start.level_db, end_db))
    reaches.append(_Reach(end_beat, end_db, end_db))


def gesture_level_db(gesture: Gesture, lines: dict[Layer, LevelLine]) -> float:
    """Return the level that the marks ask of a whole gesture, relative to mf: its layer's line, part and accent."""
    level = lines[gesture.layer].at(gesture.start_beat)
    parts = {note.part for note in gesture.notes}
    if gesture.layer == "between" and parts != {"added"}:
        level = max(level, lines["melody"].at(gesture.start_beat) - TUNE_BETWEEN_DB)
        level -= BEHIND_TUNE_DB * ("tune" not in parts)
    return level + ACCENT_DB * gesture.accent


def string_levels_db(gesture: Gesture, level_db: float, uneven_db: Sequence[float] = ()) -> tuple[float, ...]:
    """Share a gesture's level among its strings so that their powers add up to it.

    In a roll the tune's string stands `UNDER_TUNE_DB` above the strings that sound below it, and more above one that
    doesn't; in a strum each string is softer than the one struck before it, more so when the hand comes up.
    Powers of strings that don't move together add: ``L = 10 · log10 Σ 10^(Lᵢ/10)``.

    Parameters
    ----------
    gesture
        Its strings are in the order struck.
    level_db
        Of all together.
    uneven_db
        For each string by how much it is louder than an even hand would strike it; the tune's is left as it is.
    """
    under = [0.0] * len(gesture.notes)
    uneven = uneven_db or under
    if gesture.action == "roll":
        tune = gesture.notes[-1]
        under = [
            min((-UNDER_TUNE_DB if note.midi < tune.midi else -NOT_UNDER_TUNE_DB) + off, -LEAST_UNDER_TUNE_DB)
            for note, off in zip(gesture.notes[:-1], uneven, strict=False)
        ]
        under.append(0.0)
    elif gesture.action == "strum":
        steps = max(len(gesture.notes) - 1, 1)
        step_db = max(UP_SWEEP_DB if gesture.up else DOWN_SWEEP_DB, ALONG_STRUM_DB / steps)
        least_db = max(LEAST_SWEEP_DB, LEAST_ALONG_STRUM_DB / steps)
        even = [SWEEP_UNEVEN_PART * off - step_db * place for place, off in enumerate(uneven)]
        under = list(accumulate(even, lambda before, here: min(here, before - least_db)))
    total = 10.0 * log10(sum(10.0 ** (part / 10.0) for part in under))
    return tuple(round(level_db + part - total, LEVEL_DIGITS) for part in under)


def flat_levels_db(gesture: Gesture) -> tuple[float, ...]:
    """Share the one level of a flat take among a gesture's strings, all alike; a chop is held back."""
    count = len(gesture.notes)
    level_db = FLAT_LEVEL_DB + FLAT_CHOP_DB * (gesture.action == "chop")
    return (round(level_db - 10.0 * log10(count), LEVEL_DIGITS),) * count


def velocity_of_level(level_db: float) -> int:
    """Return the MIDI velocity, 1 to 127, of a level relative to mf; fff is 127.

    The square law of SoundFont 2.04, section 8.4.1: ``dB = 40 · log10(v/127)``.
    """
    velocity = round(LOUDEST_VELOCITY * float(10.0 ** ((level_db - _LOUDEST_DB) / 40.0)))
    return min(max(velocity, 1), LOUDEST_VELOCITY)
