"""The one model of the left hand: every hand that players may hold, and what each costs, as columns.

What a hand costs to hold, what it costs over a chord, and what it costs to get from one hand to the next: the tune, the
strums, the shapes of chords and the hand of a whole line all ask here. A shape costs what its cheapest hand does.

The tune asks more of a hand than what lies behind it. For a note of the tune (`holding_cost`, `changes`) every
finger is followed from place to place, and the index finger's position counts: the next note must be ready in time.
For a strum or an added note (`strum_cost`, `reach_cost`) there is time to set the fingers anew; the hand only has to
reach.

A `PricedHands` is made once for each kind of hands and kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from tercet.neck.demands import COSTS, EASY_STRETCH_MM, MANY_FINGERS, Hands
from tercet.neck.hands import Hand, HandLimits, HandTable, hand_table
from tercet.neck.shapes import COMMON_SHAPES, common_shape, taught_fingers
from tercet.theory import LAST_FRET, Chord

__all__ = [
    "EVERY_STRING",
    "OPEN_HAND",
    "STRING_BITS",
    "OverChord",
    "PricedHands",
    "hands_up_to",
    "priced_hands",
    "string_bits",
    "usual_order",
]

OPEN_HAND = Hand((0, 0, 0, 0), (0, 0, 0, 0), 1)

STRING_BITS: NDArray[np.intp] = np.array([1, 2, 4, 8])
"""A bit for each string, from string 4 to string 1, to tell several in one number."""

EVERY_STRING = 15
_NEEDED_BITS = (16, 32, 64)
_KNOWN_BIT = 128
"""More bits of what a hand sounds: that a tone which the chord needs is there, the most telling first; that the hand
holds the shape that players know by the chord's name."""

_TONES_MISSING = ("most telling tone missing", "second tone missing", "third tone missing")
_PRESSED = np.array([1, 2, 4, 8, 3, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15])
"""Strings that a finger may press, a bit for each, bit 0 for string 4; single ones first."""

_ANEW = 1024.0
_SHAPE_DIGITS = np.array([4096, 256, 16, 1])


@dataclass(frozen=True, slots=True)
class OverChord:
    """What a chord makes of every hand of a board.

    Parameters
    ----------
    sounding
        uint8 (n,): bits of what each hand sounds: the `STRING_BITS` of the strings with a tone of the chord, then
        `_NEEDED_BITS` and `_KNOWN_BIT`.
    unfit
        uint8 (n,): the `STRING_BITS` of the strings that sound no tone of it and are pressed, or pressed too high.
    allowed
        bool (n,): these players can hold it, or know it by the chord's name.
    costs
        float (256,): what each value of `sounding` costs.
    unheard_costs
        float (256,): the same for a note struck alone, when nobody hears which tones the other strings have.
    telling
        The bits of the chord's two most telling tones.
    """

    sounding: NDArray[np.uint8]
    unfit: NDArray[np.uint8]
    allowed: NDArray[np.bool_]
    costs: NDArray[np.float64]
    unheard_costs: NDArray[np.float64]
    telling: int

    def cost(self, rows: NDArray[np.intp]) -> NDArray[np.float64]:
        """Return what it costs how some hands sound, beside what they cost to hold."""
        return self.costs[self.sounding[rows]]

    def unheard_cost(self, rows: NDArray[np.intp]) -> NDArray[np.float64]:
        """Return what it costs under a note struck alone: tones of the chord that are missing don't count."""
        return self.unheard_costs[self.sounding[rows]]

    def tones(self, rows: NDArray[np.intp]) -> NDArray[np.uint8]:
        """Return on which strings some hands sound a tone of the chord, as `STRING_BITS`."""
        tones: NDArray[np.uint8] = self.sounding[rows] & np.uint8(EVERY_STRING)
        return tones

    def tells(self, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether some hands sound the chord's two most telling tones."""
        tells: NDArray[np.bool_] = self.sounding[rows] & self.telling == self.telling
        return tells

    def full(self, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether they do, and nothing off the chord."""
        wanted = self.telling | EVERY_STRING
        full: NDArray[np.bool_] = self.sounding[rows] & wanted == wanted
        return full

    def known(self, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether they hold the shape that players know by the chord's name."""
        known: NDArray[np.bool_] = self.sounding[rows] & _KNOWN_BIT > 0
        return known


class PricedHands:
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
        self._chords: dict[Chord, OverChord] = {}
        self._rows_with: dict[tuple[int, int], NDArray[np.intp]] = {}

    @cached_property
    def _fingers_cost(self) -> NDArray[np.float64]:
        """What the fingers of each hand cost, whatever they are held for."""
        table = self.table
        cost: NDArray[np.float64] = (
            COSTS["finger"] * table.count
            + COSTS["barre over two strings"] * (table.barre == 2)
            + COSTS["barre over more"] * (table.barre > 2)
            + COSTS["little finger"] * (table.fingers == 4).any(axis=1)
            + COSTS["unusual fingers"] * self._unusual
        )
        return cost

    @cached_property
    def holding_cost(self) -> NDArray[np.float64]:
        """What each hand costs to hold for a note of the tune, whatever it sounds."""
        table = self.table
        cost: NDArray[np.float64] = (
            self._fingers_cost
            + COSTS["fret of a stretch"] * np.maximum(table.apart, 0)
            + COSTS["fret of a squeeze"] * np.maximum(-table.apart, 0)
            + COSTS["fret above first position"] * (table.position - 1) * (table.count > 0)
            + COSTS["fret above third position"] * np.maximum(table.position - 3, 0) * (table.count > 0)
        )
        return cost

    @cached_property
    def strum_cost(self) -> NDArray[np.float64]:
        """What each hand costs to hold for a strum, whatever it sounds.

        It is held longer than for a note of the tune, so its width counts in mm: three frets low on a baritone's neck
        tire where they don't on a soprano's. Where the index finger would lie doesn't count, only the lowest fret.
        """
        wide_mm: NDArray[np.float64] = np.maximum(self.table.span_mm - EASY_STRETCH_MM, 0.0)
        above = np.where(self.table.count > 0, np.maximum(self._lowest_fret - 3, 0), 0)
        return (
            self._fingers_cost
            + COSTS["20 mm of stretch in a strum"] * wide_mm / 20.0
            + COSTS["fret above the third in a strum"] * above
        )

    @cached_property
    def _lowest_fret(self) -> NDArray[np.int64]:
        """For each hand the lowest fret that it presses; one past the last fret for an open hand."""
        frets = self.table.frets.astype(np.int64)
        lowest: NDArray[np.int64] = np.where(frets > 0, frets, LAST_FRET + 1).min(axis=1)
        return lowest

    @cached_property
    def asked(self) -> NDArray[np.bool_]:
        """Which hands these players are asked to hold."""
        return self._within_limits & self.as_taught

    @cached_property
    def _within_limits(self) -> NDArray[np.bool_]:
        limits, table = self.hands.limits, self.table
        within: NDArray[np.bool_] = (
            (table.count <= limits.most_fingers)
            & ((table.barre == 0) | limits.barre)
            & (table.span_mm <= limits.widest_mm)
        )
        return within

    @cached_property
    def as_taught(self) -> NDArray[np.bool_]:
        """Which hands set the fingers that are taught; all of them for a shape that has no name."""
        taught = np.ones(len(self.table), np.bool_)
        for shape in COMMON_SHAPES.values():
            frets = tuple(map(int, shape))
            rows = self.rows_of_shape(frets)
            taught[rows] = (self.table.fingers[rows] == taught_fingers(frets)).all(axis=1)
        return taught

    @cached_property
    def _unusual(self) -> NDArray[np.bool_]:
        """Which hands set other fingers on their shape than `usual_order` puts first; no open hand does."""
        table = self.table
        apart, little = np.abs(table.apart), (table.fingers == 4).any(axis=1)
        keys = (*table.fingers.T[::-1], table.position, little, apart, ~self.asked, self._shape_code)
        order = np.lexsort(keys)
        first = np.ones(len(order), np.bool_)
        codes = self._shape_code[order]
        first[1:] = codes[1:] != codes[:-1]
        unusual = np.ones(len(order), np.bool_)
        unusual[order[first]] = False
        return unusual & (table.count > 0)

    @cached_property
    def _shape_code(self) -> NDArray[np.int64]:
        """For each hand a number that rises with its frets, as the table does."""
        code: NDArray[np.int64] = (self.table.frets.astype(np.int64) * _SHAPE_DIGITS).sum(axis=1)
        return code

    def rows_of_shape(self, shape: tuple[int, ...]) -> NDArray[np.intp]:
        """Return the rows of the hands that hold a shape, in order."""
        code = self._code_of(shape)
        first, end = np.searchsorted(self._shape_code, (code, code + 1))
        return np.arange(first, end)

    def may_hold(self, shape: tuple[int, ...]) -> bool:
        """Whether these players are asked to hold a shape."""
        return bool(self.asked[self.rows_of_shape(shape)].any())

    def usual_hand(self, shape: tuple[int, ...], fingers: tuple[int, ...] | None = None) -> Hand | None:
        """Return the hand with which a shape is formed when there is time: about one finger a fret, low on the neck.

        It is one with the given `fingers` (-1 where any will do) if a hand sets them so, else with the fingers that are
        taught for the shape, else one that these players are asked for; None where no hand holds the shape.
        """
        rows = self.rows_of_shape(shape)
        for wanted in filter(None, (fingers, taught_fingers(shape))):
            asked_for = np.array(wanted)
            known = rows[((self.table.fingers[rows] == asked_for) | (asked_for < 0)).all(axis=1)]
            if len(known):
                return min(map(self.hand, map(int, known)), key=usual_order)
        asked = rows[self.asked[rows]]
        return min(map(self.hand, map(int, asked if len(asked) else rows)), key=usual_order, default=None)

    def strummed_cost(self, chord: Chord, shape: tuple[int, ...]) -> float:
        """Return what it costs to hold a shape for strumming a chord, with the fingers that make it cheapest."""
        rows = self.rows_of_shape(shape)
        return float((self.strum_cost[rows] + self.chord(chord).cost(rows)).min())

    def cost_to(self, before: Hand, shape: tuple[int, ...]) -> float:
        """Return what it costs to reach a shape from a hand, for what lies behind the tune."""
        return float(self.reach_cost(self.row_of(before), self.rows_of_shape(shape)).min())

    @staticmethod
    def _code_of(shape: tuple[int, ...]) -> int:
        return sum(fret * int(digit) for fret, digit in zip(shape, _SHAPE_DIGITS, strict=True))

    def rows_with(self, column: int, fret: int) -> NDArray[np.intp]:
        """Return the rows of the hands that have a fret on a string (0 for string 4 to 3), in rising order."""
        if (column, fret) not in self._rows_with:
            self._rows_with[column, fret] = np.flatnonzero(self.table.frets[:, column] == fret)
        return self._rows_with[column, fret]

    def chord(self, chord: Chord) -> OverChord:
        """Return what a chord makes of every hand."""
        known = self._chords.get(chord)
        if known is None:
            known = self._chords[chord] = self._chord_columns(chord)
        return known

    @cached_property
    def classes(self) -> NDArray[np.int16]:
        """The pitch class that each hand sounds on each string, (4, n)."""
        classes: NDArray[np.int16] = np.ascontiguousarray(self.midis.T % 12)
        return classes

    @cached_property
    def _strings_sounding(self) -> tuple[NDArray[np.uint8], ...]:
        """For each of the twelve pitch classes the strings on which each hand sounds it, as `STRING_BITS`."""
        return tuple(string_bits(self.classes == each) for each in range(12))

    @cached_property
    def frets_by_string(self) -> NDArray[np.int8]:
        """The frets of each hand, (4, n): a row for each string, which is quicker."""
        return np.ascontiguousarray(self.table.frets.T)

    @cached_property
    def pressed_before(self) -> NDArray[np.int8]:
        """How many strings each hand presses before each column, int8 (5, n); before the fifth is all of them."""
        pressed: NDArray[np.int8] = np.zeros((5, len(self.table)), np.int8)
        np.cumsum(self.frets_by_string > 0, axis=0, out=pressed[1:])
        return pressed

    def _chord_columns(self, chord: Chord) -> OverChord:
        tones = np.bitwise_or.reduce([self._strings_sounding[each] for each in sorted(chord.pitch_classes)])
        needed = [self._strings_sounding[each] > 0 for each in chord.needed_classes[: len(_NEEDED_BITS)]]
        sounding = tones.copy()
        for there, bit in zip(needed, _NEEDED_BITS, strict=False):
            sounding |= there * np.uint8(bit)
        allowed = self.asked
        shape = common_shape(chord, self.hands.tuning)
        if shape is not None:
            rows = self.rows_of_shape(shape)
            sounding[rows] |= _KNOWN_BIT
            allowed = allowed.copy()
            allowed[rows] |= self.as_taught[rows]
        return OverChord(
            sounding,
            unfit=self._too_high | self._pressed & ~tones,
            allowed=allowed,
            costs=_sounding_costs(len(needed)),
            unheard_costs=_sounding_costs(0),
            telling=sum(_NEEDED_BITS[: min(len(needed), 2)]),
        )

    @cached_property
    def _pressed(self) -> NDArray[np.uint8]:
        """Which strings each hand presses, as `STRING_BITS`."""
        return string_bits(self.frets_by_string > 0)

    @cached_property
    def _too_high(self) -> NDArray[np.uint8]:
        """Which strings each hand presses higher than these players are asked to in a chord, as `STRING_BITS`."""
        return string_bits(self.frets_by_string > self.hands.limits.highest_chord_fret)

    @cached_property
    def _finger_code(self) -> NDArray[np.intp]:
        """For each finger and hand, (4, n), a number: 0 when unused, else 1 + place · frets + fret.

        `place` is where the strings that the finger presses stand in `_PRESSED`.
        """
        table = self.table
        strings = np.stack([(table.fingers == finger) @ STRING_BITS for finger in (1, 2, 3, 4)])
        place = np.argsort(_PRESSED)[strings - 1]
        code: NDArray[np.intp] = place * (self.highest_fret + 1) + table.finger_fret.T + 1
        return np.where(strings > 0, code, 0)

    @cached_property
    def _finger_change(self) -> NDArray[np.float64]:
        """What one finger costs from any code to any other.

        Kept where it is, guided along its string, carried across strings on its fret, or placed anew; lifting is free.
        """
        frets = self.highest_fret + 1
        strings = np.concatenate([[0], np.repeat(_PRESSED, frets)])
        string = strings & -strings  # the one nearest the chin
        fret = np.concatenate([[-1], np.tile(np.arange(frets), len(_PRESSED))])
        same_string = string[:, None] == string[None, :]
        same_fret = fret[:, None] == fret[None, :]
        cost = np.where(
            same_string,
            np.where(same_fret, COSTS["kept finger"], COSTS["guide finger"]),
            np.where(same_fret, COSTS["finger carried across"], COSTS["placing a finger"]),
        )
        cost[0, :] = COSTS["placing a finger"]
        covered = (strings[None, :] & ~strings[:, None]) == 0
        cost[~(covered & same_fret)] += _ANEW
        cost[:, 0] = 0.0
        return cost

    @cached_property
    def _one_string_change(self) -> NDArray[np.float64]:
        """The part of `_finger_change` for fingers that press one string each: small, and so quickly looked up."""
        codes = 1 + 4 * (self.highest_fret + 1)
        return self._finger_change[:codes, :codes].copy()

    @cached_property
    def _position_code(self) -> NDArray[np.intp]:
        """For each hand a number: its position, whether it has a fret of room below, whether all strings are open.

        Fingers that lie closer together than one a fret have room: such a hand needn't move along the neck for a shape
        that is a fret lower. One finger a fret, or fingers wider apart, leave none.
        """
        roomy = (self.table.apart < 0) & (self.table.position > 1)
        code: NDArray[np.intp] = self.table.position.astype(np.intp) * 4 + roomy * 2 + (self.table.count == 0)
        return code

    @cached_property
    def _position_change(self) -> NDArray[np.float64]:
        """What a change of position costs; half as much where one of the two hands has all strings open."""
        code = np.arange(4 * (self.highest_fret + 2))
        highest = code // 4
        lowest = highest - code // 2 % 2
        moved = np.maximum(np.maximum(lowest[:, None] - highest, lowest - highest[:, None]), 0)
        eased = np.where((code[:, None] % 2 == 1) | (code[None, :] % 2 == 1), 0.5, 1.0)
        cost: NDArray[np.float64] = COSTS["fret of a position change"] * moved + COSTS["position change"] * (
            moved > 0
        )
        return cost * eased

    def changes(
        self, before: NDArray[np.intp], after: NDArray[np.intp]
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return what it costs to get from each of some hands to each of others, and which changes set three fingers.

        Both are (before, after): float, and bool for at least three fingers that lie somewhere else than before.

        Parameters
        ----------
        before, after
            Rows of the table.
        """
        moved = self._position_change.take(self._position_code.take(before), axis=0)
        cost: NDArray[np.float64] = moved.take(self._position_code.take(after), axis=1)
        for finger, codes in enumerate(self._finger_code):
            change = self._finger_change if finger == 0 else self._one_string_change
            cost += change.take(codes.take(before), axis=0).take(codes.take(after), axis=1)
        # Each finger that is set anew also adds `_ANEW`, far more than any cost, so that one sum tells both.
        anew = cost / _ANEW
        np.rint(anew, out=anew)
        many = anew >= MANY_FINGERS
        anew *= _ANEW
        cost -= anew
        return cost, many

    def has_time(self, before: Hand, after: Hand, gap_s: float) -> bool:
        """Whether these players get from one hand to another in time: nobody sets three fingers in a hurry."""
        if not self.in_a_hurry(gap_s):
            return True
        _, many = self.changes(np.array([self.row_of(before)]), np.array([self.row_of(after)]))
        return not many[0, 0]

    def in_a_hurry(self, gap_s: float) -> bool:
        """Whether so many seconds are too few for these players to set three fingers anew."""
        return gap_s < self.hands.limits.three_fingers_s

    def reach_cost(self, before: int, after: NDArray[np.intp]) -> NDArray[np.float64]:
        """Return what it costs to get from one hand to each of others for what lies behind the tune, float (after,).

        The hand lies as low on the neck as its frets allow, and moves only as far as it takes to have the next ones
        under it: four frets from where it lies, five high up. Which finger was where doesn't matter, there is time to
        set them anew: a string that keeps its fret keeps its finger, any other pressed one takes one.
        """
        lowest, least = self._lowest_fret, self._least_reach
        lies = min(int(least[before]), int(lowest[before]))
        reached = np.minimum(np.maximum(lies, least[after]), lowest[after])
        moved = np.where(self.table.count[after] > 0, np.abs(reached - lies), 0)
        frets = self.table.frets[after]
        kept = (frets == self.table.frets[before]) & (frets > 0)
        cost: NDArray[np.float64] = (
            COSTS["fret out of reach"] * moved
            + COSTS["far out of reach"] * (moved > 1)
            + COSTS["kept finger"] * kept.sum(axis=1)
            + COSTS["placing a finger"] * ((frets > 0) & ~kept).sum(axis=1)
        )
        return cost

    @cached_property
    def _highest_fret(self) -> NDArray[np.int64]:
        highest: NDArray[np.int64] = np.maximum.reduce(self.frets_by_string).astype(np.int64)
        return highest

    @cached_property
    def place_on_neck(self) -> NDArray[np.int64]:
        """For each hand a number below 256, the same for hands of the same position and highest fret."""
        place: NDArray[np.int64] = self._highest_fret * 16 + self.table.position
        return place

    @cached_property
    def _least_reach(self) -> NDArray[np.int64]:
        """For each hand the lowest position from which its highest fret is under the hand."""
        highest = self._highest_fret
        least: NDArray[np.int64] = np.maximum(highest - np.where(highest >= 9, 4, 3), 1)
        return least

    def hand(self, row: int) -> Hand:
        """Return one hand."""
        return self.table.hand(row)

    def row_of(self, hand: Hand) -> int:
        """Return the row of a hand; `KeyError` when the table doesn't have it."""
        for row in self.rows_of_shape(hand.frets):
            if self.hand(int(row)) == hand:
                return int(row)
        raise KeyError(hand)


def string_bits(on_string: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return the `STRING_BITS` of what is true of some strings, (4, n), added up for each hand."""
    bits: NDArray[np.uint8] = np.packbits(on_string, axis=0, bitorder="little")[0]
    return bits


def _sounding_costs(needed: int) -> NDArray[np.float64]:
    """Return what each value of `OverChord.sounding` costs, of a chord that needs so many tones."""
    sounding = np.arange(256)
    tones = np.add.reduce([sounding & bit > 0 for bit in STRING_BITS], dtype=np.intp)
    cost: NDArray[np.float64] = COSTS["idle string off the chord"] * (4 - tones)
    for bit, name in zip(_NEEDED_BITS[:needed], _TONES_MISSING, strict=False):
        cost += COSTS[name] * (sounding & bit == 0)
    cost += COSTS["known shape"] * (sounding & _KNOWN_BIT > 0)
    return cost


def usual_order(hand: Hand) -> tuple[int, bool, int, tuple[int, ...]]:
    """Return what orders the hands of a shape: about one finger a fret, no little finger, low on the neck, a barre."""
    pressed = [fret for fret in hand.frets if fret]
    used = [finger for finger in hand.fingers if finger]
    apart = (max(pressed) - min(pressed)) - (max(used) - min(used)) if used else 0
    return abs(apart), 4 in used, hand.position, hand.fingers


@lru_cache(maxsize=16)
def priced_hands(hands: Hands, highest_fret: int) -> PricedHands:
    """Return the hands on a neck up to a fret with their costs, made once."""
    return PricedHands(hands, highest_fret)


def hands_up_to(hands: Hands, *frets: int) -> PricedHands:
    """Return the hands of some players, at least up to some frets: as far as they reach, or to the last fret."""
    reach = hands.limits.highest_fret
    return priced_hands(hands, reach if max(frets, default=0) <= reach else LAST_FRET)
