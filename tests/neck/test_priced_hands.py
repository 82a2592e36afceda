"""The neck under the players' hands: what hands cost to hold, over a chord, and to get from one to the next."""

from __future__ import annotations

import numpy as np
import pytest

from tercet.neck import COMMON_SHAPES
from tercet.neck.demands import COSTS, LIMITS, Hands
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import PricedHands, hands_up_to, priced_hands
from tercet.song import Players
from tercet.theory import LAST_FRET, TUNINGS, parse_chord
from tests.arranging.by_hand import chance, fingers_set, slow_change

TAUGHT = {"0003": "0003", "2010": "2010", "0212": "0213", "2000": "2000", "2210": "2310", "2223": "1112"}
"""C, F, G7, Am, Dm and D7: 1 index to 4 little, 0 for an open string."""


def board(players: Players = "free", tuning: str = "high-g", highest_fret: int = 7) -> PricedHands:
    return priced_hands(Hands(TUNINGS[tuning], 380.0, LIMITS[players]), highest_fret)


def hand(digits: str, fingers: str, position: int) -> Hand:
    four, three, two, one = map(int, digits)
    first, second, third, fourth = map(int, fingers)
    return Hand((four, three, two, one), (first, second, third, fourth), position)


@pytest.mark.parametrize(
    ("held", "terms"),
    [
        (hand("0000", "0000", 5), {}),
        (hand("0003", "0003", 1), {"finger": 1}),
        (hand("0003", "0004", 1), {"finger": 1, "little finger": 1, "unusual fingers": 1}),
        (hand("2010", "2010", 1), {"finger": 2}),
        (hand("2010", "3010", 1), {"finger": 2, "fret of a squeeze": 1, "unusual fingers": 1}),
        (hand("3211", "3211", 1), {"finger": 3, "barre over two strings": 1}),
        (hand("2223", "1112", 2), {"finger": 2, "barre over more": 1, "fret above first position": 1}),
        (hand("1003", "1002", 1), {"finger": 2, "fret of a stretch": 1, "unusual fingers": 1}),
        (
            hand("5555", "1111", 5),
            {
                "finger": 1,
                "barre over more": 1,
                "fret above first position": 4,
                "fret above third position": 2,
            },
        ),
        (
            hand("0007", "0003", 5),
            {"finger": 1, "fret above first position": 4, "fret above third position": 2},
        ),
    ],
)
def test_what_a_hand_costs_to_hold(held: Hand, terms: dict[str, float]) -> None:
    found = board().holding_cost[board().row_of(held)]
    assert found == pytest.approx(sum(COSTS[name] * times for name, times in terms.items()))


@pytest.mark.parametrize(
    ("held", "players"),
    [
        (hand("0003", "0003", 1), {"beginner", "improving", "free"}),
        (hand("2010", "2010", 1), {"beginner", "improving", "free"}),
        (hand("3211", "3211", 1), {"improving", "free"}),  # a barre
        (hand("3211", "4312", 1), set()),  # a shape with a name has the fingers that are taught
        (hand("4321", "4321", 1), {"improving", "free"}),  # four fingers
        (hand("1004", "1004", 1), {"beginner", "improving", "free"}),  # 57 mm
        (hand("5009", "1004", 5), {"beginner", "improving", "free"}),  # 59 mm
    ],
)
def test_who_is_asked_to_hold_a_hand(held: Hand, players: set[Players]) -> None:
    asked = {name for name in LIMITS if board(name, "low-g", 12).asked[board(name, "low-g", 12).row_of(held)]}
    assert asked == players


@pytest.mark.parametrize("tuning", ["high-g", "low-g"])
@pytest.mark.parametrize("name", COMMON_SHAPES)
def test_the_known_shape_is_the_cheapest_for_its_chord(name: str, tuning: str) -> None:
    neck = board("improving", tuning)
    over = neck.chord(parse_chord(name))
    rows = np.flatnonzero(over.allowed & (over.unfit == 0))
    best = neck.hand(int(rows[(neck.holding_cost[rows] + over.cost(rows)).argmin()]))
    assert "".join(map(str, best.frets)) == COMMON_SHAPES[name]


def test_what_a_chord_makes_of_a_hand() -> None:
    neck = board("beginner")
    over = neck.chord(parse_chord("C"))
    rows = np.array(
        [
            neck.row_of(hand(frets, fingers, position))
            for frets, fingers, position in (
                ("0003", "0003", 1),
                ("0000", "0000", 1),
                ("0033", "0034", 1),
                ("5555", "1111", 5),
            )
        ]
    )
    assert over.tones(rows).tolist() == [0b1111, 0b0111, 0b1111, 0b0001]  # string 1 is the highest bit
    assert over.unfit[rows].tolist()[1::2] == [0, 0b1111]  # open strings may stay silent; fret 5 is too high
    assert over.known(rows).tolist() == [True, False, False, False]
    assert over.tells(rows).tolist() == [True, True, False, False]
    assert over.full(rows).tolist() == [True, False, False, False]
    dearer = over.cost(rows)[:3]
    assert dearer == pytest.approx(
        [COSTS["known shape"], COSTS["idle string off the chord"], COSTS["most telling tone missing"]]
    )


def test_a_known_shape_is_allowed_though_it_asks_for_a_barre() -> None:
    neck = board("beginner")
    row = neck.row_of(hand("3211", "3211", 1))
    assert not neck.asked[row]
    assert neck.chord(parse_chord("Bb")).allowed[row]
    assert not neck.chord(parse_chord("Gm")).allowed[row]


# Changes


@pytest.mark.parametrize(
    ("before", "after", "cost"),
    [
        ("0000 0000 1", "0000 0000 1", 0.0),
        ("0003 0003 1", "0003 0003 1", -0.25),
        ("0003 0003 1", "0000 0000 1", 0.0),  # lifting is free
        ("0000 0000 1", "0003 0003 1", 0.25),
        ("2000 2000 1", "2010 2010 1", -0.25 + 0.25),
        ("0003 0003 1", "0005 0003 3", 0.12 + 0.6 + 2 * 2.2),  # along the string
        ("0200 0200 1", "0020 0020 1", 0.6),  # across the strings
        ("0232 0132 2", "0003 0003 1", 0.6),  # fingers close together leave a fret of room
        ("0003 0003 1", "0232 0132 2", 0.6 + 2 * 0.25),
        ("0402 0301 2", "0003 0003 1", 0.25 + 0.6 + 2.2),  # one finger a fret leaves none
        ("0235 0234 1", "0003 0003 1", 0.6),
        ("0000 0000 4", "0003 0003 1", 0.25 + 0.5 * (0.6 + 3 * 2.2)),  # open strings give time
        ("0000 0000 4", "0000 0000 1", 0.5 * (0.6 + 3 * 2.2)),  # but the hand has a position all along
    ],
)
def test_what_changes_cost(before: str, after: str, cost: float) -> None:
    (old, old_fingers, old_at), (new, new_fingers, new_at) = before.split(), after.split()
    rows = [
        board().row_of(hand(old, old_fingers, int(old_at))),
        board().row_of(hand(new, new_fingers, int(new_at))),
    ]
    found, _ = board().changes(np.array(rows[:1]), np.array(rows[1:]))
    assert found.shape == (1, 1)
    assert found[0, 0] == pytest.approx(cost)


def test_changes_cost_what_they_cost_finger_by_finger() -> None:
    neck = board(highest_fret=12)
    drawn = chance(1)
    before = np.array([drawn.randrange(len(neck.table)) for _ in range(60)])
    after = np.array([drawn.randrange(len(neck.table)) for _ in range(50)])
    slow = [[slow_change(neck.hand(int(b)), neck.hand(int(a))) for a in after] for b in before]
    many = [[fingers_set(neck.hand(int(b)), neck.hand(int(a))) >= 3 for a in after] for b in before]
    cost, three = neck.changes(before, after)
    np.testing.assert_allclose(cost, slow, atol=1e-11)
    np.testing.assert_array_equal(three, many)
    assert 0 < three.sum() < three.size


def test_rows_and_hands() -> None:
    neck = board(highest_fret=4)
    assert all(neck.row_of(neck.hand(row)) == row for row in range(len(neck.table)))
    with pytest.raises(KeyError, match="position=9"):
        neck.row_of(hand("0000", "0000", 9))
    assert (neck.midis == neck.table.frets + np.array([67, 60, 64, 69])).all()
    assert board(highest_fret=4) is neck


# Strums


def frets(digits: str) -> tuple[int, int, int, int]:
    four, three, two, one = map(int, digits)
    return four, three, two, one


@pytest.mark.parametrize(
    ("held", "terms"),
    [
        (hand("0003", "0003", 1), {"finger": 1}),
        (hand("2010", "3010", 1), {"finger": 2, "unusual fingers": 1}),  # a squeeze doesn't count
        (hand("1003", "1002", 1), {"finger": 2, "unusual fingers": 1}),  # 39 mm
        (hand("1004", "1004", 1), {"finger": 2, "little finger": 1, "20 mm of stretch in a strum": 0.852}),
        (hand("0232", "0132", 2), {"finger": 3}),  # the second position is as good as the first
        (hand("5555", "1111", 5), {"finger": 1, "barre over more": 1, "fret above the third in a strum": 2}),
    ],
)
def test_what_a_hand_costs_to_strum(held: Hand, terms: dict[str, float]) -> None:
    found = board().strum_cost[board().row_of(held)]
    assert found == pytest.approx(sum(COSTS[name] * times for name, times in terms.items()), abs=1e-3)


@pytest.mark.parametrize(
    ("before", "after", "terms"),
    [
        ("0003", "0003", {"kept finger": 1}),
        ("0003", "2010", {"placing a finger": 2}),
        ("2000", "2010", {"placing a finger": 1, "kept finger": 1}),
        ("2010", "0000", {}),
        ("0000", "0005", {"placing a finger": 1, "fret out of reach": 1}),
        ("0000", "0007", {"placing a finger": 1, "fret out of reach": 3, "far out of reach": 1}),
        ("0232", "2010", {"placing a finger": 2}),  # lies low enough already
    ],
)
def test_what_it_costs_to_reach_a_hand(before: str, after: str, terms: dict[str, float]) -> None:
    neck = board()
    start, end = (neck.usual_hand(frets(digits)) for digits in (before, after))
    assert start is not None
    assert end is not None
    found = neck.reach_cost(neck.row_of(start), np.array([neck.row_of(end)]))
    cost = sum(COSTS[name] * times for name, times in terms.items())
    assert found == pytest.approx([cost])
    assert neck.cost_to(start, end.frets) == pytest.approx(cost)


@pytest.mark.parametrize(("digits", "fingers"), list(zip(TAUGHT, TAUGHT.values(), strict=True)))
def test_the_usual_hand_is_the_one_that_is_taught(digits: str, fingers: str) -> None:
    found = board().usual_hand(frets(digits))
    assert found is not None
    assert "".join(map(str, found.fingers)) == fingers


def test_hands_reach_as_far_as_is_asked() -> None:
    hands = Hands(TUNINGS["high-g"], 380.0, LIMITS["beginner"])
    assert hands_up_to(hands).highest_fret == 5
    assert hands_up_to(hands, 3, 5) is hands_up_to(hands)
    assert hands_up_to(hands, 6).highest_fret == LAST_FRET
    assert hands_up_to(hands, 6).may_hold(frets("0006"))
    assert not hands_up_to(hands, 6).may_hold(frets("3211"))
    assert hands_up_to(hands).usual_hand((1, 5, 0, 0)) is None
