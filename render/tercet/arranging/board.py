"""The neck under these players' hands: every hand that they may hold, and what each costs, as columns.

All that the solver weighs about the left hand comes from here: what a hand costs to hold, what it costs over a chord,
and what it costs to get from one hand to the next. A `Board` is made once for each kind of hands and kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from tercet.arranging.demands import COSTS, Hands
from tercet.neck import common_shape
from tercet.neck.hands import Hand, HandLimits, HandTable, hand_table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tercet.theory import Chord

__all__ = ["Board", "ChordColumns", "board_of"]

_TONES_MISSING = ("most telling tone missing", "second tone missing", "third tone missing")
_SHAPE_DIGITS = np.array([4096, 256, 16, 1])


@dataclass(frozen=True, slots=True)
class ChordColumns:
    """What a chord makes of every hand of a board.

    Parameters
    ----------
    tone
        bool (n, 4): the string sounds a tone of the chord.
    fits
        bool (n, 4): it does, or it is open and needn't sound; and the fret is within reach for a chord.
    cost
        float (n,): what the hand costs over this chord.
    allowed
        bool (n,): these players can hold it, or know it by the chord's name.
    full
        bool (n,): it sounds the chord's two most telling tones, and nothing off the chord.
    """

    tone: NDArray[np.bool_]
    fits: NDArray[np.bool_]
    cost: NDArray[np.float64]
    allowed: NDArray[np.bool_]
    full: NDArray[np.bool_]


class Board:
    """Hands on a neck up to a fret, with their costs.

    Parameters
    ----------
    hands
        Who plays on which strings.
    highest_fret
        The table goes so far; what the players are asked to reach is `hands.limits`.
    """

    def __init__(self, hands: Hands, highest_fret: int) -> None:
        self.hands = hands
        self.highest_fret = highest_fret
        self.table: HandTable = hand_table(HandLimits(highest_fret), hands.scale_length_mm)
        self.open_midis = np.array([pitch.midi for pitch in hands.tuning.open_pitches], dtype=np.int16)
        self.midis: NDArray[np.int16] = self.table.frets + self.open_midis
        self._chords: dict[Chord, ChordColumns] = {}
        self._rows_with: dict[tuple[int, int], NDArray[np.intp]] = {}

    @cached_property
    def holding_cost(self) -> NDArray[np.float64]:
        """What each hand costs to hold, whatever it sounds."""
        table = self.table
        cost: NDArray[np.float64] = (
            COSTS["finger"] * table.count
            + COSTS["barre over two strings"] * (table.barre == 2)
            + COSTS["barre over more"] * (table.barre > 2)
            + COSTS["little finger"] * (table.fingers == 4).any(axis=1)
            + COSTS["fret of a stretch"] * np.maximum(table.apart, 0)
            + COSTS["fret of a squeeze"] * np.maximum(-table.apart, 0)
            + COSTS["fret above first position"] * (table.position - 1) * (table.count > 0)
            + COSTS["fret above third position"] * np.maximum(table.position - 3, 0) * (table.count > 0)
        )
        return cost

    @cached_property
    def asked(self) -> NDArray[np.bool_]:
        """Which hands these players are asked to hold."""
        limits, table = self.hands.limits, self.table
        asked: NDArray[np.bool_] = (
            (table.count <= limits.most_fingers)
            & ((table.barre == 0) | limits.barre)
            & (table.span_mm <= limits.widest_mm)
        )
        return asked

    @cached_property
    def _shape_code(self) -> NDArray[np.int64]:
        """For each hand a number that rises with its frets, as the table does."""
        code: NDArray[np.int64] = (self.table.frets.astype(np.int64) * _SHAPE_DIGITS).sum(axis=1)
        return code

    def rows_of_shape(self, shape: tuple[int, ...]) -> NDArray[np.bool_]:
        """Return which hands hold a shape."""
        holding: NDArray[np.bool_] = self._shape_code == self._code_of(shape)
        return holding

    @staticmethod
    def _code_of(shape: tuple[int, ...]) -> int:
        return sum(fret * int(digit) for fret, digit in zip(shape, _SHAPE_DIGITS, strict=True))

    def rows_with(self, column: int, fret: int) -> NDArray[np.intp]:
        """Return the rows of the hands that have a fret on a string (0 for string 4 to 3), in rising order."""
        if (column, fret) not in self._rows_with:
            self._rows_with[column, fret] = np.flatnonzero(self.table.frets[:, column] == fret)
        return self._rows_with[column, fret]

    def chord(self, chord: Chord) -> ChordColumns:
        """Return what a chord makes of every hand."""
        if chord not in self._chords:
            self._chords[chord] = self._chord_columns(chord)
        return self._chords[chord]

    def _chord_columns(self, chord: Chord) -> ChordColumns:
        classes = self.midis % 12
        in_chord = np.zeros(12, dtype=np.bool_)
        in_chord[list(chord.pitch_classes)] = True
        tone = in_chord[classes]
        cost = self.holding_cost + COSTS["idle string off the chord"] * (~tone).sum(axis=1)
        has = [(classes == needed).any(axis=1) for needed in chord.needed_classes]
        for there, name in zip(has, _TONES_MISSING, strict=False):
            cost += COSTS[name] * ~there
        allowed = self.asked
        known = common_shape(chord, self.hands.tuning)
        if known is not None:
            holds_known = self.rows_of_shape(known)
            cost += COSTS["known shape"] * holds_known
            allowed = allowed | holds_known
        low_enough = self.table.frets <= self.hands.limits.highest_chord_fret
        fits = (tone | (self.table.frets == 0)) & low_enough
        return ChordColumns(
            tone, fits, cost, allowed, full=np.logical_and.reduce([*has[:2], tone.all(axis=1)])
        )

    @cached_property
    def _finger_code(self) -> NDArray[np.intp]:
        """For each hand and finger a number: 0 when unused, else 1 + string · frets + fret."""
        table = self.table
        place = table.finger_string.astype(np.intp) * (self.highest_fret + 1) + table.finger_fret
        return np.where(table.finger_string >= 0, place + 1, 0)

    @cached_property
    def _finger_change(self) -> NDArray[np.float64]:
        """What one finger costs from any code to any other.

        Kept where it is, guided along its string, carried across strings on its fret, or placed anew; lifting is free.
        """
        frets = self.highest_fret + 1
        string = np.concatenate([[-1], np.repeat(np.arange(4), frets)])
        fret = np.concatenate([[-1], np.tile(np.arange(frets), 4)])
        same_string = string[:, None] == string[None, :]
        same_fret = fret[:, None] == fret[None, :]
        cost = np.where(
            same_string,
            np.where(same_fret, COSTS["kept finger"], COSTS["guide finger"]),
            np.where(same_fret, COSTS["finger carried across"], COSTS["placing a finger"]),
        )
        cost[0, :] = COSTS["placing a finger"]
        cost[:, 0] = 0.0
        return cost

    @cached_property
    def _position_code(self) -> NDArray[np.intp]:
        """For each hand its position, odd where all strings are open."""
        code: NDArray[np.intp] = self.table.position.astype(np.intp) * 2 + (self.table.count == 0)
        return code

    @cached_property
    def _position_change(self) -> NDArray[np.float64]:
        """What a change of position costs; half as much where one of the two hands has all strings open."""
        code = np.arange(2 * (self.highest_fret + 2))
        moved = np.abs(code[:, None] // 2 - code[None, :] // 2)
        eased = np.where((code[:, None] % 2 == 1) | (code[None, :] % 2 == 1), 0.5, 1.0)
        cost: NDArray[np.float64] = COSTS["fret of a position change"] * moved + COSTS["position change"] * (
            moved > 0
        )
        return cost * eased

    def change_cost(self, before: NDArray[np.intp], after: NDArray[np.intp]) -> NDArray[np.float64]:
        """Return what it costs to get from each of some hands to each of others, float (before, after).

        Parameters
        ----------
        before, after
            Rows of the table.
        """
        cost: NDArray[np.float64] = np.take(
            self._position_change[self._position_code[before]], self._position_code[after], axis=1
        )
        for finger in range(4):
            change = self._finger_change[self._finger_code[before, finger]]
            cost += np.take(change, self._finger_code[after, finger], axis=1)
        return cost

    def hand(self, row: int) -> Hand:
        """Return one hand."""
        return self.table.hand(row)

    def row_of(self, hand: Hand) -> int:
        """Return the row of a hand; `KeyError` when the board doesn't have it."""
        code = self._code_of(hand.frets)
        first, end = np.searchsorted(self._shape_code, (code, code + 1))
        for row in range(int(first), int(end)):
            if self.hand(row) == hand:
                return row
        raise KeyError(hand)


@lru_cache(maxsize=16)
def board_of(hands: Hands, highest_fret: int) -> Board:
    """Return the board of some hands, made once."""
    return Board(hands, highest_fret)
