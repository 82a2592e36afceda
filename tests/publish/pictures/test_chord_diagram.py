"""Chord diagrams: what is drawn is the shape."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.neck.hands import HandLimits, hand_table
from tercet.publish import svg_text
from tercet.publish.pictures.chord_diagram import ASPECT, chord_diagram, chord_diagram_drawing, spoken_shape
from tercet.publish.pictures.shapes_used import ShapeUse
from tests.measure.diagrams import Seen, diagrams_of, seen

G = ShapeUse("G", (0, 2, 3, 2), (0, 1, 3, 2), (1,))
B7 = ShapeUse("B7", (2, 3, 2, 2), (1, 2, 1, 1), (3,))


def shown(use: ShapeUse, *, left_handed: bool = False, width: float = 160.0) -> Seen:
    (diagram,) = diagrams_of(svg_text(chord_diagram_drawing(use, width, left_handed=left_handed)))
    return seen(diagram)


def numbers(use: ShapeUse) -> tuple[str, ...]:
    return tuple(str(finger) if finger else "" for finger in use.fingers or (0,) * 4)


@pytest.mark.parametrize("left_handed", [False, True])
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_hand_is_drawn_as_it_is_held(left_handed: bool, data: st.DataObject) -> None:
    table = hand_table(HandLimits(15), 380.0)
    hand = table.hand(data.draw(st.integers(0, len(table) - 1)))
    use = ShapeUse("C#m7b5", hand.frets, hand.fingers)
    step = -1 if left_handed else 1
    drawn = shown(use, left_handed=left_handed)
    assert drawn.frets == hand.frets[::step]
    assert drawn.fingers == numbers(use)[::step]
    flat = [column for column, finger in enumerate(hand.fingers) if finger == 1]
    assert drawn.barred == (flat[-1] - flat[0] + 1 if hand.barre else 0)


def test_the_measure_sees_a_wrong_fret_finger_and_barre() -> None:
    right = shown(B7)
    assert right == Seen("B7", (2, 3, 2, 2), ("1", "2", "1", "1"), 4, (1,))
    assert shown(replace(B7, frets=(2, 4, 2, 2))) != right
    assert shown(replace(B7, fingers=(1, 3, 1, 1))) != right
    assert shown(replace(B7, fingers=(1, 4, 2, 3))).barred == 0
    assert shown(B7, left_handed=True) != right


def test_a_damped_string_has_a_cross_and_an_open_one_a_ring() -> None:
    drawn = shown(ShapeUse("D", (None, 2, 2, 0), (0, 1, 2, 0)))
    assert drawn.frets == (None, 2, 2, 0)
    svg = svg_text(chord_diagram_drawing(ShapeUse("D", (None, 2, 2, 0), (0, 1, 2, 0))))
    assert svg.count('class="damped 4"') == 1
    assert svg.count('class="open 1"') == 1


def test_the_tune_stands_in_front() -> None:
    assert shown(G).largest == (3,)
    assert shown(G, left_handed=True).largest == (0,)
    assert shown(replace(G, tune_strings=())).largest == (1, 2, 3)


def test_a_shape_high_on_the_neck_names_its_fret_instead_of_the_nut() -> None:
    high = svg_text(chord_diagram_drawing(ShapeUse("F", (5, 5, 5, 8), (1, 1, 1, 4))))
    assert 'class="nut"' not in high
    assert re.search(r'class="position"[^>]*>5<', high)
    low = svg_text(chord_diagram_drawing(G))
    assert 'class="nut"' in low
    assert 'class="position"' not in low


@pytest.mark.parametrize("width", [40.0, 80.0, 200.0])
@pytest.mark.parametrize("left_handed", [False, True])
def test_everything_lies_within_the_diagram(width: float, left_handed: bool) -> None:
    use = ShapeUse("C#m7b5/G#", (12, 15, None, 0), (1, 4, 0, 0))
    svg = svg_text(chord_diagram_drawing(use, width, left_handed=left_handed))
    numbers = [pair for points in re.findall(r'points="([^"]+)"', svg) for pair in points.split()]
    assert all(0 <= float(pair.split(",")[0]) <= width for pair in numbers)
    assert all(0 <= float(pair.split(",")[1]) <= ASPECT * width for pair in numbers)
    for x, y, radius in re.findall(r'cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"', svg):
        assert float(radius) <= float(x) <= width - float(radius)
        assert float(radius) <= float(y) <= ASPECT * width - float(radius)


def test_a_diagram_is_told_in_words() -> None:
    assert spoken_shape(G) == (
        "G, string 4 open, string 3 fret 2 finger 1, string 2 fret 3 finger 3, string 1 fret 2 finger 2 (tune)"
    )
    assert spoken_shape(ShapeUse("", (None, 0, 0, 5))) == (
        "no chord, string 4 not played, string 3 open, string 2 open, string 1 fret 5"
    )
    assert chord_diagram(G, 0.0, 0.0, 80.0).title == spoken_shape(G)


def test_a_name_is_text_whatever_it_says() -> None:
    svg = svg_text(chord_diagram_drawing(replace(G, chord="<script>alert(1)</script>" * 40)))
    assert "<script" not in svg
    assert svg.count("</svg>") == 1


def test_the_same_shape_gives_the_same_text() -> None:
    assert svg_text(chord_diagram_drawing(G)) == svg_text(chord_diagram_drawing(G))
