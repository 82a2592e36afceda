"""The picture of a take."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement
from tercet.publish import svg_text
from tercet.publish.pictures import take_picture
from tests.measure.picture import Mark, marks_of, nearer_is_larger_and_darker, words_of
from tests.performing.pieces import Visit, added, piece, pieces, strum, tune
from tests.publish.drawn import drawn, four_bars, taken, three_layers


def middle_size(marks: list[Mark], layer: str) -> float:
    sizes = sorted(mark.size for mark in marks if mark.layer == layer)
    return sizes[len(sizes) // 2]


@pytest.mark.parametrize("made", [four_bars(), three_layers()], ids=["four bars", "three layers"])
def test_every_note_has_a_mark(made: Arrangement) -> None:
    marks = marks_of(drawn(made))
    assert Counter(mark.layer for mark in marks) == Counter(note.layer for note in taken(made).notes)


@settings(max_examples=20, deadline=None)
@given(made=pieces())
def test_any_take_can_be_drawn(made: Arrangement) -> None:
    assert len(marks_of(drawn(made))) == len(taken(made).notes)


def test_what_is_louder_is_larger_and_darker() -> None:
    made = three_layers(marks={1: "pp@1", 2: "mp@1", 3: "f@1", 4: "ff@1"})
    assert nearer_is_larger_and_darker(marks_of(drawn(made)))
    assert nearer_is_larger_and_darker(marks_of(drawn(four_bars())))


def test_the_look_at_sizes_sees_a_wrong_one() -> None:
    marks = marks_of(drawn(three_layers(marks={1: "pp@1", 2: "mp@1", 3: "f@1", 4: "ff@1"})))
    assert not nearer_is_larger_and_darker([replace(mark, size=5.0) for mark in marks])
    assert not nearer_is_larger_and_darker([replace(mark, light=mark.size) for mark in marks])


def test_the_loudest_is_drawn_last() -> None:
    levels = [mark.level_db for mark in marks_of(drawn(three_layers(), [0]))]
    assert levels == sorted(levels)


def test_twice_as_near_is_twice_as_large() -> None:
    soft = marks_of(drawn(three_layers(marks={1: "p@1"})))
    loud = marks_of(drawn(three_layers(marks={1: "f@1"})))
    assert middle_size(loud, "between") / middle_size(soft, "between") == pytest.approx(
        10 ** (12 / 20), rel=0.05
    )


def test_the_layers_differ_in_shape_and_line_without_colour() -> None:
    marks = marks_of(drawn(three_layers()))
    styles = {
        layer: {(mark.head, mark.tail) for mark in marks if mark.layer == layer}
        for layer in ("melody", "between", "strums")
    }
    assert styles == {
        "melody": {("filled circle", "solid")},
        "between": {("filled polygon", "dashed")},
        "strums": {("outlined circle", "dotted")},
    }


def test_a_chop_is_a_cross_without_a_line() -> None:
    chops = [mark for mark in marks_of(drawn(four_bars())) if mark.action == "chop"]
    assert {(mark.head, mark.tail) for mark in chops} == {("outlined polyline", "")}


def test_the_strings_of_a_stroke_are_tied_and_loud_notes_name_their_string() -> None:
    svg = drawn(three_layers(), [0])
    assert svg.count('class="stroke melody"') == 1
    assert svg.count('class="stroke strums"') == 1
    large = [mark for mark in marks_of(svg) if mark.layer != "strums" and mark.size >= 7.0]
    named = words_of(svg, "string")[2:]  # after those of the legend
    assert 2 <= len(named) == len(large) < len(marks_of(svg))
    assert named[-2:] == ["1", "1"]


def test_bars_sections_and_words_are_written() -> None:
    svg = drawn(three_layers())
    assert words_of(svg, "bar number") == ["1", "2", "3", "4"]
    assert words_of(svg, "section") == ["verse, first time", "verse, second time", "end"]
    assert words_of(svg, "word") == ["Lan-", "terns", "<&>"]


def test_the_title_is_escaped() -> None:
    svg = drawn(three_layers(title='Tom <&> "Jerry" </svg>'))
    assert words_of(svg, "title") == ['Tom <&> "Jerry" </svg>']
    assert svg.count("</svg>") == 1


def test_a_title_too_long_for_the_page_is_cut_short() -> None:
    (title,) = words_of(drawn(three_layers(title="wide " * 100)), "title")
    assert title.endswith("…")
    assert 60 < len(title) < 200


def test_each_row_draws_the_level_of_each_layer() -> None:
    svg = drawn(three_layers())
    assert Counter(re.findall(r'class="level (\w+)"', svg)) == {"melody": 3, "between": 3, "strums": 3}


def test_a_line_that_lasts_long_is_wrapped_evenly() -> None:
    made = piece(*(tune(4 * bar, 4) for bar in range(8)), tempo=60, visits=(Visit("verse", 1, 8),))
    assert drawn(made).count('class="level melody"') == 3
    assert words_of(drawn(made), "section") == ["verse"]


def test_a_loop_begins_a_row_each_time() -> None:
    svg = drawn(three_layers(), [0, 1, 0, 1])
    assert words_of(svg, "bar number") == ["1", "2", "1", "2"]
    assert words_of(svg, "section") == ["verse, first time", "verse, first time"]


def test_words_never_run_into_each_other() -> None:
    crowd = [(beat, "through") for beat in range(4)]
    made = piece(
        *(tune(beat, 1) for beat in range(4)),
        tempo=200,
        visits=(Visit("verse", 1, 1), Visit("end", 1, 8)),
        words={1: crowd},
    )
    starts = [float(x) for x in re.findall(r'class="word" x="([\d.]+)"', drawn(made))]
    assert len(starts) == 4
    assert all(later - earlier > 50 for earlier, later in pairwise(starts))


def test_a_take_without_notes_is_empty_but_drawn() -> None:
    svg = drawn(piece(visits=(Visit("verse", 1, 2),)))
    assert marks_of(svg) == []
    assert words_of(svg, "bar number") == ["1", "2"]


def test_the_same_take_gives_the_same_text() -> None:
    made = three_layers()
    assert svg_text(take_picture(taken(made), made)) == svg_text(take_picture(taken(made), made))


def test_the_legend_has_three_lines_the_nearest_first() -> None:
    svg = drawn(three_layers())
    lines = re.findall(
        r'<g class="legend">.*?</g>\n<text[^>]*>(\w+)</text>\n<text[^>]*>([^<]+)</text>', svg, re.DOTALL
    )
    assert lines == [
        ("melody", "in front, about f"),
        ("between", "in the middle, about mp"),
        ("strums", "at the back, about p"),
    ]
    assert drawn(piece(added(0, 1), strum(2, 1))).count("out</text>") == 1
