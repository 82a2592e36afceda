"""Fingers that a person sets: what is refused is in no table of hands, what passes is in one, each with its reason."""

from __future__ import annotations

import re
from itertools import product

import pytest

from tercet.neck import TAUGHT_SHAPES, fault_of_fingers, fault_of_stretch, taught_fingers
from tercet.neck.hands import Hand, HandLimits, hand_table
from tercet.neck.shapes import Shape
from tests.neck.hand_rules import faults

CONCERT_MM, BARITONE_MM = 380.0, 510.0


def digits(text: str) -> Shape:
    four, three, two, one = map(int, text)
    return (four, three, two, one)


def shapes_of(*signs: int) -> list[Shape]:
    return [(four, three, two, one) for four, three, two, one in product(signs, repeat=4)]


def refused(frets: Shape, fingers: Shape, scale_length_mm: float) -> bool:
    return (
        fault_of_fingers(frets, fingers) is not None
        or fault_of_stretch(frets, fingers, scale_length_mm) is not None
    )


@pytest.mark.parametrize("scale_length_mm", [CONCERT_MM, BARITONE_MM])
def test_what_passes_is_what_the_tables_hold(scale_length_mm: float) -> None:
    """Shapes low on the neck and a few higher, under all 625 ways to name fingers."""
    table = hand_table(HandLimits(10), scale_length_mm)
    held = {(hand.frets, hand.fingers) for hand in map(table.hand, range(len(table)))}
    for frets in {*shapes_of(0, 1, 2, 4), *shapes_of(0, 5, 9)}:
        for fingers in shapes_of(0, 1, 2, 3, 4):
            assert ((frets, fingers) in held) != refused(frets, fingers, scale_length_mm), (frets, fingers)


@pytest.mark.parametrize("shape", TAUGHT_SHAPES.values())
def test_taught_fingers_keep_the_rules_of_a_hand(shape: str) -> None:
    frets, fingers = map(digits, shape.split("/"))
    assert taught_fingers(frets) == fingers
    assert not refused(frets, fingers, CONCERT_MM)
    lowest = min((fret, finger) for fret, finger in zip(frets, fingers, strict=True) if fret)
    assert not faults(Hand(frets, fingers, max(lowest[0] - lowest[1] + 1, 1)), CONCERT_MM)


# fmt: off
REASONS = [
    ("2000", "2100", "string 3 isn't pressed", "2000"),
    ("2210", "2010", "string 3 is pressed at fret 2, but no finger", "2310"),
    ("4321", "4021", "string 3 is pressed at fret 3, but no finger", None),
    ("0232", "0122", r"the middle finger \(2\) can't press frets 3 and 2 at once", "0132"),
    ("0404", "0202", r"the middle finger \(2\) can't press strings 3 and 1 at once: only the index", None),
    ("2013", "1023", r"the middle finger \(2\) at fret 1 would lie behind the index finger \(1\) at fret 2", None),
    ("0212", "0312", r"at fret 2 the ring finger \(3\) would cross the middle finger \(2\)", "0213"),
    ("3303", "1102", "the index finger lies flat at fret 3 and presses string 1 too", None),
    ("4404", "1101", "flat over strings 4 to 1, so string 2 can't be left open", None),
    ("2220", "1120", "lies flat at fret 2 and presses string 2 too", "1110"),
]
# fmt: on


@pytest.mark.parametrize(("frets", "fingers", "reason", "instead"), REASONS)
def test_a_reason_and_a_mend_where_there_is_no_doubt(
    frets: str, fingers: str, reason: str, instead: str | None
) -> None:
    fault = fault_of_fingers(digits(frets), digits(fingers))
    assert fault is not None
    assert re.search(reason, fault.reason)
    assert fault.instead == (instead and digits(instead))


def test_no_mend_is_faulty_itself() -> None:
    for frets in shapes_of(0, 1, 2):
        for fingers in shapes_of(0, 1, 2, 3, 4):
            fault = fault_of_fingers(frets, fingers)
            if fault is not None and fault.instead is not None:
                assert fault_of_fingers(frets, fault.instead) is None


@pytest.mark.parametrize(
    ("frets", "fingers", "scale_length_mm", "reason"),
    [
        ((1, 5, 0, 0), (1, 4, 0, 0), CONCERT_MM, "can't cover frets 1 to 5: so low on the neck, four"),
        ((1, 4, 0, 0), (1, 4, 0, 0), CONCERT_MM, ""),
        ((1, 4, 0, 0), (1, 4, 0, 0), 600.0, "90 mm apart on this instrument"),
        ((5, 9, 0, 0), (1, 2, 0, 0), CONCERT_MM, "can't stretch from fret 5 to fret 9"),
    ],
)
def test_a_stretch_is_the_instruments(
    frets: Shape, fingers: Shape, scale_length_mm: float, reason: str
) -> None:
    fault = fault_of_stretch(frets, fingers, scale_length_mm)
    assert (fault.reason if fault else "").count(reason) or not (fault or reason)
    assert bool(fault) == bool(reason)
