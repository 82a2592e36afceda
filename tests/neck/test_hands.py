"""What a hand can hold: every row of the table against the rules, and against a slow list of all hands."""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np
import pytest

from tercet.neck import COMMON_SHAPES
from tercet.neck.hands import Hand, HandLimits, HandTable, hand_table
from tests.neck.hand_rules import faults, nut_mm

CONCERT_MM, TENOR_MM, BARITONE_MM = 380.0, 430.0, 510.0
FREE = HandLimits(12)


def hands_of(table: HandTable) -> list[Hand]:
    return [table.hand(row) for row in range(len(table))]


@cache
def free_hands() -> list[Hand]:
    return hands_of(hand_table(FREE, CONCERT_MM))


def holding(digits: str) -> list[Hand]:
    frets = tuple(int(digit) for digit in digits)
    return [hand for hand in free_hands() if hand.frets == frets]


def slow_hands(limits: HandLimits, scale_length_mm: float) -> set[Hand]:
    """Return every hand within some limits, all fingers tried on all strings."""
    made = {Hand((0, 0, 0, 0), (0, 0, 0, 0), position) for position in range(1, limits.highest_fret + 1)}
    for four, three, two, one in product(range(limits.highest_fret + 1), repeat=4):
        frets = (four, three, two, one)
        pressed = [fret for fret in frets if fret]
        for first, second, third, fourth in product(*((1, 2, 3, 4) if fret else (0,) for fret in frets)):
            fingers = (first, second, third, fourth)
            if not pressed or len(set(fingers) - {0}) > limits.most_fingers:
                continue
            under_index = fingers.count(1)
            if under_index > 1 and (not limits.barre or under_index != frets.count(min(pressed))):
                continue
            position = max(min(pressed) - min(finger - 1 for finger in fingers if finger), 1)
            hand = Hand(frets, fingers, position)
            if not faults(hand, scale_length_mm, limits.widest_mm):
                made.add(hand)
    return made


@pytest.mark.parametrize(
    ("limits", "scale_length_mm"),
    [
        (HandLimits(4), CONCERT_MM),
        (HandLimits(4, most_fingers=3, barre=False, widest_mm=60.0), CONCERT_MM),
        (HandLimits(4, most_fingers=3, barre=False, widest_mm=60.0), TENOR_MM),
        (HandLimits(4, most_fingers=2, widest_mm=40.0), BARITONE_MM),
        (HandLimits(3, most_fingers=1), CONCERT_MM),
    ],
)
def test_the_table_is_what_trying_out_all_fingers_finds(limits: HandLimits, scale_length_mm: float) -> None:
    table = hands_of(hand_table(limits, scale_length_mm))
    assert set(table) == slow_hands(limits, scale_length_mm)
    assert len(table) == len(set(table))


@pytest.mark.parametrize(
    ("highest_fret", "scale_length_mm"),
    [(0, CONCERT_MM), (1, CONCERT_MM), (7, 346.0), (15, CONCERT_MM), (7, TENOR_MM), (12, BARITONE_MM)],
)
def test_every_hand_keeps_the_rules(highest_fret: int, scale_length_mm: float) -> None:
    table = hand_table(HandLimits(highest_fret), scale_length_mm)
    hands = hands_of(table)
    assert {fault for hand in hands for fault in faults(hand, scale_length_mm)} == set()
    assert len(hands) == len(set(hands))
    assert hands == sorted(hands)
    assert max(max(hand.frets) for hand in hands) == highest_fret


def test_columns_say_the_same_as_the_hands() -> None:
    table = hand_table(HandLimits(7), CONCERT_MM)
    for row, hand in enumerate(hands_of(table)):
        used = sorted(set(hand.fingers) - {0})
        pressed = [fret for fret in hand.frets if fret]
        assert table.count[row] == len(used)
        assert table.barre[row] == hand.barre == (hand.fingers.count(1) if hand.fingers.count(1) > 1 else 0)
        wide_mm = nut_mm(max(pressed), CONCERT_MM) - nut_mm(min(pressed), CONCERT_MM) if pressed else 0.0
        assert table.span_mm[row] == pytest.approx(wide_mm)
        assert table.apart[row] == (max(pressed) - min(pressed) - used[-1] + used[0] if used else 0)
        for finger in (1, 2, 3, 4):
            where = [column for column in range(4) if hand.fingers[column] == finger]
            expected = (where[0], hand.frets[where[0]]) if where else (-1, -1)
            assert (table.finger_string[row, finger - 1], table.finger_fret[row, finger - 1]) == expected


def test_some_rows_are_a_table() -> None:
    table = hand_table(HandLimits(3), CONCERT_MM)
    few = table.taken(np.array([4, 2]))
    assert [few.hand(0), few.hand(1)] == [table.hand(4), table.hand(2)]
    assert len(few) == 2


@pytest.mark.parametrize("lower", [HandLimits(5), HandLimits(7), HandLimits(12)])
def test_a_higher_limit_only_adds_hands(lower: HandLimits) -> None:
    assert set(hands_of(hand_table(lower, CONCERT_MM))) < set(
        hands_of(hand_table(HandLimits(15), CONCERT_MM))
    )


@pytest.mark.parametrize(
    "less",
    [
        HandLimits(7, most_fingers=3),
        HandLimits(7, barre=False),
        HandLimits(7, widest_mm=50.0),
        HandLimits(6),
    ],
)
def test_every_limit_only_takes_hands_away(less: HandLimits) -> None:
    assert set(hands_of(hand_table(less, CONCERT_MM))) < set(hands_of(hand_table(HandLimits(7), CONCERT_MM)))


def test_a_longer_neck_only_takes_hands_away() -> None:
    short, long = (set(hands_of(hand_table(FREE, scale_mm))) for scale_mm in (346.0, 700.0))
    assert long < short
    assert Hand((1, 0, 0, 4), (1, 0, 0, 4), 1) in short - long


# Shapes that players know


@pytest.mark.parametrize("name", COMMON_SHAPES)
def test_known_shapes_are_there(name: str) -> None:
    assert holding(COMMON_SHAPES[name])


@pytest.mark.parametrize(
    ("digits", "fingers"),
    [
        ("0003", "0001 0002 0003 0004"),
        ("2010", "2010 3010 3020 4010 4020 4030"),
        ("0212", "0213 0214 0314 0324"),
        ("2220", "1110 1230 1240 1340 2340"),
        ("0432", "0321 0421 0431 0432"),
        ("3211", "3211 4211 4311 4312"),
        ("1013", "1023 1024 1034 2034"),
        ("5555", "1111 1234"),
        ("1012", "1023 1024 1034 2034"),
    ],
)
def test_the_fingers_of_shapes(digits: str, fingers: str) -> None:
    found = {"".join(map(str, hand.fingers)) for hand in holding(digits)}
    assert found == set(fingers.split())


def test_an_open_hand_is_there_once_for_each_position() -> None:
    assert [hand.position for hand in holding("0000")] == list(range(1, 13))


@pytest.mark.parametrize(
    ("digits", "fingers", "position", "barre"),
    [
        ("3211", "3211", 1, 2),
        ("2223", "1112", 2, 3),
        ("5555", "1111", 5, 4),
        ("0003", "0003", 1, 0),
        ("0003", "0001", 3, 0),
        ("0007", "0004", 4, 0),
        ("0001", "0003", 1, 0),
    ],
)
def test_position_and_barre(digits: str, fingers: str, position: int, barre: int) -> None:
    hand = next(hand for hand in holding(digits) if "".join(map(str, hand.fingers)) == fingers)
    assert (hand.position, hand.barre) == (position, barre)


@pytest.mark.parametrize(
    ("digits", "why"),
    [
        ("1005", "too many frets"),
        ("9004", "too many frets"),
        ("5009", None),
        ("1004", None),
        ("1051", "wide"),
    ],
)
def test_stretches(digits: str, why: str | None) -> None:
    assert bool(holding(digits)) == (why is None)


# Sabotage: a hand made wrong in one way is caught by the rule that it breaks


@pytest.mark.parametrize(
    ("hand", "fault"),
    [
        (Hand((2, 0, 1, 0), (1, 0, 2, 0), 1), "fingers cross"),
        (Hand((2, 2, 0, 0), (2, 1, 0, 0), 2), "fingers cross"),
        (Hand((2, 0, 0, 2), (1, 0, 0, 1), 2), "an open string inside the barre"),
        (Hand((1, 2, 2, 0), (1, 2, 2, 0), 1), "a finger other than the index on several strings"),
        (Hand((0, 1, 2, 2), (0, 1, 1, 2), 1), "a barre above the lowest fret"),
        (Hand((1, 0, 0, 5), (1, 0, 0, 4), 1), "too many frets"),
        (Hand((0, 0, 0, 3), (0, 0, 0, 0), 1), "a finger on an open string, or a fret without a finger"),
        (Hand((0, 0, 0, 3), (0, 0, 0, 2), 3), "position"),
        (Hand((5, 0, 0, 9), (1, 0, 0, 2), 5), "fingers too far apart or too close"),
        (Hand((0, 0, 0, 0), (0, 0, 0, 0), 0), "position"),
    ],
)
def test_a_hand_made_wrong_is_caught(hand: Hand, fault: str) -> None:
    assert fault in faults(hand, CONCERT_MM)


def test_a_hand_too_wide_is_caught() -> None:
    assert faults(Hand((1, 0, 0, 4), (1, 0, 0, 4), 1), 700.0) == ["too wide"]
