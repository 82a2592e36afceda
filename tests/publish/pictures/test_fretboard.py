"""The fretboard map."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from tercet.arranging import arrange
from tercet.neck import fret_position_mm
from tercet.publish import svg_text
from tercet.publish.pictures import FretboardMap, fretboard_picture, frets_for, tune_places
from tercet.song import drop_pins, read_song
from tercet.theory import TUNINGS, Tuning, parse_key
from tests.measure.necks import NeckMark, marks_on_neck, neck_frets
from tests.measure.text_boxes import outside, overlapping, text_boxes

HIGH_G = TUNINGS["high-g"]
A_MINOR = FretboardMap(parse_key("A minor"), HIGH_G, 12, "A minor")
SONGS = sorted(Path("songs").glob("*.yaml"))


def drawn(asked: FretboardMap) -> str:
    return svg_text(fretboard_picture(asked))


def front(marks: list[NeckMark]) -> set[tuple[int, int]]:
    return {(mark.string, mark.fret) for mark in marks if mark.degree}


@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("tuning", [*TUNINGS.values(), Tuning("custom", TUNINGS["low-g"].open_pitches[::-1])])
@pytest.mark.parametrize("key", ["A minor", "Eb major", "F# major", "Ab minor"])
@pytest.mark.parametrize("frets", [5, 12, 18])
def test_every_mark_names_what_sounds_there(key: str, tuning: Tuning, frets: int, left_handed: bool) -> None:
    asked = FretboardMap(parse_key(key), tuning, frets, key, left_handed=left_handed)
    marks = marks_on_neck(drawn(asked))
    classes = {(parse_key(key).tonic_class + step) % 12 for step in _steps(key)}
    wanted = {
        (string, fret)
        for string in (1, 2, 3, 4)
        for fret in range(frets + 1)
        if tuning.midi(string, fret) % 12 in classes
    }
    assert {(mark.string, mark.fret) for mark in marks} == wanted
    for mark in marks:
        assert mark.name_class == tuning.midi(mark.string, mark.fret) % 12
        assert (parse_key(key).tonic_class + _steps(key)[int(mark.degree) - 1]) % 12 == mark.name_class


def _steps(key: str) -> tuple[int, ...]:
    return (0, 2, 3, 5, 7, 8, 10) if key.endswith("minor") else (0, 2, 4, 5, 7, 9, 11)


def test_the_measure_sees_a_mark_in_the_wrong_place_or_with_a_wrong_name() -> None:
    svg = drawn(A_MINOR)
    right = marks_on_neck(svg)
    a_open = re.search(r'<circle class="mark" cx="([\d.]+)"[^>]*>\n<text class="name"[^>]*>C</text>', svg)
    assert a_open is not None
    moved = svg.replace(a_open[0], a_open[0].replace(f'cx="{a_open[1]}"', 'cx="700"'), 1)
    assert {(mark.string, mark.fret) for mark in marks_on_neck(moved)} != {
        (mark.string, mark.fret) for mark in right
    }
    renamed = svg.replace(a_open[0], a_open[0].replace(">C<", ">D<"), 1)
    assert [mark.name_class for mark in marks_on_neck(renamed)] != [mark.name_class for mark in right]


def test_home_stands_in_front_then_the_home_chord_then_the_rest() -> None:
    sizes = {mark.degree: mark.radius for mark in marks_on_neck(drawn(replace(A_MINOR, frets=5)))}
    assert sizes["1"] > sizes["3"] == sizes["5"] > sizes["2"] == sizes["4"] == sizes["6"] == sizes["7"]


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_a_songs_tune_stands_in_front_where_it_is_played(path: Path, tuning: Tuning) -> None:
    made = arrange(drop_pins(read_song(path))[0], tuning)
    places = tune_places(made)
    asked = FretboardMap(made.song.key, tuning, frets_for(places), made.song.title, places)
    svg = drawn(asked)
    marks = marks_on_neck(svg)
    assert front(marks) == places
    near = min(mark.radius for mark in marks if mark.degree)
    assert all(mark.radius < near for mark in marks if not mark.degree)
    assert all(mark.name_class == tuning.midi(mark.string, mark.fret) % 12 for mark in marks)
    boxes = text_boxes(svg)
    assert overlapping(boxes) == []
    assert outside(boxes, 1600, 690) == []


def test_blank_rings_are_alike_and_tell_nothing() -> None:
    asked = replace(A_MINOR, blank=True)
    marks = marks_on_neck(drawn(replace(asked, frets=5)))
    assert {mark.radius for mark in marks} == {marks[0].radius}
    assert {(mark.name, mark.degree) for mark in marks} == {("", "")}
    assert {(mark.string, mark.fret) for mark in marks} == front(
        marks_on_neck(drawn(replace(A_MINOR, frets=5)))
    )
    of_song = replace(asked, played=frozenset({(1, 0), (2, 3)}))
    assert {(mark.string, mark.fret) for mark in marks_on_neck(drawn(of_song))} == {(1, 0), (2, 3)}


def test_without_a_key_the_neck_is_empty() -> None:
    assert marks_on_neck(drawn(FretboardMap(None, HIGH_G, 12, "The neck", blank=True))) == []


def test_frets_lie_as_on_an_instrument() -> None:
    lines = neck_frets(drawn(A_MINOR))
    for fret, x in enumerate(lines):
        assert (x - lines[0]) / (lines[-1] - lines[0]) == pytest.approx(
            fret_position_mm(fret, 380.0) / fret_position_mm(12, 380.0), abs=1e-3
        )


def test_left_handed_is_the_mirror_image() -> None:
    right = {(mark.string, mark.fret, mark.name, mark.degree) for mark in marks_on_neck(drawn(A_MINOR))}
    mirrored = drawn(replace(A_MINOR, left_handed=True))
    assert {(mark.string, mark.fret, mark.name, mark.degree) for mark in marks_on_neck(mirrored)} == right
    assert neck_frets(mirrored)[0] > neck_frets(mirrored)[-1]


def test_open_strings_outside_the_key_are_named() -> None:
    svg = drawn(FretboardMap(parse_key("Eb major"), TUNINGS["baritone"], 12, "Eb major"))
    assert re.findall(r'class="open string"[^>]*>(\w+)<', svg) == ["B", "E"]


@pytest.mark.parametrize("frets", [3, 5, 12, 18])
@pytest.mark.parametrize("key", ["A minor", "C# major", "Ab minor"])
@pytest.mark.parametrize("left_handed", [False, True])
def test_no_texts_overlap(key: str, frets: int, left_handed: bool) -> None:
    title = "A title that never ends " * 200
    svg = drawn(FretboardMap(parse_key(key), HIGH_G, frets, title, left_handed=left_handed))
    assert overlapping(text_boxes(svg)) == []
    assert outside(text_boxes(svg), 1600, 690) == []


def test_the_look_at_overlaps_sees_one() -> None:
    svg = drawn(A_MINOR)
    (name,) = re.findall(r'<text class="title"[^>]*>', svg)
    assert overlapping(text_boxes(svg.replace(name, re.sub(r'y="[\d.]+"', 'y="106"', name))))


def test_a_title_is_text_whatever_it_says() -> None:
    svg = drawn(replace(A_MINOR, title="<script>alert(1)</script> & </svg>"))
    assert "<script" not in svg
    assert svg.count("</svg>") == 1
