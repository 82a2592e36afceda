"""What a left hand can hold: every shape up to a fret limit with every legal fingering, as columns of a table.

A *hand* is a shape with its fingers: which finger (1 index to 4 little) presses each string, whether the index finger
lies flat across strings (a barre), and where the hand lies on the neck. The rules:

- at most four fingers, one string each; only the index finger may lie across strings, on the lowest fret that is
  pressed, if no open string lies between its ends;
- a higher finger never on a lower fret; on one fret the fingers follow the strings, the lower finger nearer the chin;
- lowest and highest finger at most `SPAN_LIMIT_MM` apart, at most four frets below fret 5 and five from there on.

The hand's *position* is the fret where its index finger lies or would lie. An open shape needs no position: it is in
the table once for each, so that a hand carries its position through open strings.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from tercet.neck.fingers import MOST_STRETCH
from tercet.neck.shapes import SPAN_LIMIT_MM, fret_position_mm
from tercet.theory import LAST_FRET

__all__ = ["Hand", "HandLimits", "HandTable", "hand_table"]

MOST_SQUEEZE = 3
"""Fingers may lie at most so many frets closer together than one a fret."""


@dataclass(frozen=True, slots=True, order=True)
class Hand:
    """One hand.

    Parameters
    ----------
    frets
        String 4 first; 0 is open.
    fingers
        For each string 0 (none), 1 (index) to 4 (little).
    position
        Fret where the index finger lies or would lie, from 1.
    """

    frets: tuple[int, int, int, int]
    fingers: tuple[int, int, int, int]
    position: int

    @property
    def barre(self) -> int:
        """How many strings lie under a flat index finger; 0 without a barre."""
        strings = self.fingers.count(1)
        return strings if strings > 1 else 0


@dataclass(frozen=True, slots=True)
class HandLimits:
    """What hands are asked to do: the highest fret, fingers at once, a barre or none, the widest span in mm."""

    highest_fret: int
    most_fingers: int = 4
    barre: bool = True
    widest_mm: float = SPAN_LIMIT_MM


@dataclass(frozen=True, slots=True)
class HandTable:
    """Hands as columns: row i of every array is one hand; strings in the order 4, 3, 2, 1.

    Parameters
    ----------
    frets, fingers
        int8 (n, 4).
    position, barre
        int8 (n,): fret under the index finger; strings under a flat index finger, 0 without a barre.
    count
        int8 (n,): fingers in use.
    apart
        int8 (n,): by how many frets lowest and highest finger lie further apart than one finger a fret; negative
        where they are closer.
    span_mm
        float64 (n,).
    finger_string, finger_fret
        int8 (n, 4): for fingers 1 to 4 the string's column and the fret; -1 for a finger that isn't used. A barre
        counts at its end nearest the chin.
    """

    frets: NDArray[np.int8]
    fingers: NDArray[np.int8]
    position: NDArray[np.int8]
    barre: NDArray[np.int8]
    count: NDArray[np.int8]
    apart: NDArray[np.int8]
    span_mm: NDArray[np.float64]
    finger_string: NDArray[np.int8]
    finger_fret: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.position)

    def hand(self, row: int) -> Hand:
        """Return one row."""
        four, three, two, one = (int(fret) for fret in self.frets[row])
        first, second, third, fourth = (int(finger) for finger in self.fingers[row])
        return Hand((four, three, two, one), (first, second, third, fourth), int(self.position[row]))

    def taken(self, rows: NDArray[np.intp]) -> HandTable:
        """Return some rows as a table."""
        return HandTable(*(getattr(self, field.name)[rows] for field in fields(self)))


@lru_cache(maxsize=32)
def hand_table(limits: HandLimits, scale_length_mm: float) -> HandTable:
    """Return every hand within some limits, in rising order of frets.

    Parameters
    ----------
    limits
        `highest_fret` 0 to 15, `most_fingers` 1 to 4.
    scale_length_mm
        Nut to saddle.
    """
    shapes = _shapes(
        min(limits.highest_fret, LAST_FRET), min(limits.widest_mm, SPAN_LIMIT_MM), scale_length_mm
    )
    pieces = [_set_one_by_one(shapes, count) for count in range(limits.most_fingers + 1)]
    if limits.barre:
        flat = _under_flat_finger(shapes)
        pieces += [
            _set_with_barre(shapes, flat, barred, above)
            for barred in (2, 3, 4)
            for above in range(min(4 - barred, limits.most_fingers - 1) + 1)
        ]
    rows = np.concatenate([rows for rows, _ in pieces])
    fingers = np.concatenate([fingers for _, fingers in pieces])
    table = _columns(shapes[rows], fingers, scale_length_mm)
    comfortable = (table.apart <= MOST_STRETCH) & (table.apart >= -MOST_SQUEEZE)
    table = _with_open_positions(table.taken(np.flatnonzero(comfortable)), limits.highest_fret)
    order = np.lexsort((table.position, *table.fingers.T[::-1], *table.frets.T[::-1]))
    return table.taken(order)


def _shapes(highest_fret: int, widest_mm: float, scale_length_mm: float) -> NDArray[np.int8]:
    """Return all shapes (n, 4) whose frets lie near enough to each other."""
    shapes = np.indices((highest_fret + 1,) * 4, dtype=np.int8).reshape(4, -1).T
    lowest, highest = _lowest(shapes), shapes.max(axis=1)
    within = highest - lowest < np.where(lowest >= 5, 5, 4)
    near_enough: NDArray[np.int8] = shapes[within & (_span_mm(lowest, highest, scale_length_mm) <= widest_mm)]
    return near_enough


def _lowest(shapes: NDArray[np.int8]) -> NDArray[np.int8]:
    """Return the lowest pressed fret of each shape; 0 where all strings are open."""
    lowest = np.where(shapes > 0, shapes, np.int8(99)).min(axis=1)
    return np.where(lowest == 99, np.int8(0), lowest)


def _span_mm(
    lowest: NDArray[np.int8], highest: NDArray[np.int8], scale_length_mm: float
) -> NDArray[np.float64]:
    """Return the distance between two frets; 0 where the lower one is the nut, which needs no finger."""
    at_mm = np.array([fret_position_mm(fret, scale_length_mm) for fret in range(LAST_FRET + 1)])
    return np.where(lowest > 0, at_mm[highest] - at_mm[lowest], 0.0)


def _finger_order(shapes: NDArray[np.int8]) -> NDArray[np.intp]:
    """Return for each shape its columns in the order in which fingers take them: by fret, then from the chin."""
    rank = np.where(shapes > 0, shapes.astype(np.int16) * 4 + np.arange(4, dtype=np.int16), np.int16(1000))
    return np.argsort(rank, axis=1, kind="stable")


def _set_one_by_one(shapes: NDArray[np.int8], count: int) -> tuple[NDArray[np.intp], NDArray[np.int8]]:
    """Return (rows, fingers) of the shapes with that many pressed strings, one finger a string."""
    rows = np.flatnonzero((shapes > 0).sum(axis=1) == count)
    order = _finger_order(shapes[rows])
    sets = []
    for chosen in combinations((1, 2, 3, 4), count):
        fingers = np.zeros((len(rows), 4), np.int8)
        for place, finger in enumerate(chosen):
            fingers[np.arange(len(rows)), order[:, place]] = finger
        sets.append(fingers)
    return np.tile(rows, len(sets)), np.concatenate(sets)


def _under_flat_finger(shapes: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Return which strings of each shape lie under a flat index finger; none where an open string lies between."""
    pressed = shapes > 0
    at_lowest = pressed & (shapes == _lowest(shapes)[:, None])
    first = np.argmax(at_lowest, axis=1)[:, None]
    last = 3 - np.argmax(at_lowest[:, ::-1], axis=1)[:, None]
    inside = (np.arange(4) >= first) & (np.arange(4) <= last)
    flat: NDArray[np.bool_] = at_lowest & ~(inside & ~pressed).any(axis=1)[:, None]
    return flat


def _set_with_barre(
    shapes: NDArray[np.int8], flat: NDArray[np.bool_], barred: int, above: int
) -> tuple[NDArray[np.intp], NDArray[np.int8]]:
    """Return (rows, fingers) of the shapes with the index finger across `barred` strings and others above it."""
    rows = np.flatnonzero((flat.sum(axis=1) == barred) & ((shapes > 0).sum(axis=1) == barred + above))
    order = _finger_order(shapes[rows])
    sets = []
    for chosen in combinations((2, 3, 4), above):
        fingers = flat[rows].astype(np.int8)
        for place, finger in enumerate(chosen):
            fingers[np.arange(len(rows)), order[:, barred + place]] = finger
        sets.append(fingers)
    return np.tile(rows, len(sets)), np.concatenate(sets)


def _columns(frets: NDArray[np.int8], fingers: NDArray[np.int8], scale_length_mm: float) -> HandTable:
    """Work out the columns that follow from frets and fingers."""
    finger_string = np.full((len(frets), 4), -1, np.int8)
    finger_fret = np.full((len(frets), 4), -1, np.int8)
    for column in (3, 2, 1, 0):
        rows = np.flatnonzero(fingers[:, column])
        finger_string[rows, fingers[rows, column] - 1] = column
        finger_fret[rows, fingers[rows, column] - 1] = frets[rows, column]
    used = finger_fret >= 0
    low_finger = np.argmax(used, axis=1)
    high_finger = 3 - np.argmax(used[:, ::-1], axis=1)
    lowest, highest = _lowest(frets), frets.max(axis=1)
    any_used = used.any(axis=1)
    barred = (fingers == 1).sum(axis=1)
    return HandTable(
        frets=frets,
        fingers=fingers,
        position=np.where(any_used, np.maximum(lowest - low_finger, 1), 1).astype(np.int8),
        barre=np.where(barred > 1, barred, 0).astype(np.int8),
        count=used.sum(axis=1).astype(np.int8),
        apart=np.where(any_used, (highest - lowest) - (high_finger - low_finger), 0).astype(np.int8),
        span_mm=_span_mm(lowest, highest, scale_length_mm),
        finger_string=finger_string,
        finger_fret=finger_fret,
    )


def _with_open_positions(table: HandTable, highest_fret: int) -> HandTable:
    """Return the table with the open shape once for each position that a hand can have."""
    open_rows = np.flatnonzero(table.count == 0)
    positions = np.arange(2, max(highest_fret, 1) + 1, dtype=np.int8)
    rows = np.concatenate([np.arange(len(table)), np.repeat(open_rows, len(positions))])
    grown = table.taken(rows)
    grown.position[len(table) :] = np.tile(positions, len(open_rows))
    return grown
