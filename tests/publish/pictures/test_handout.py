"""The handout: one picture of a song, or a few."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import replace
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.publish import svg_text
from tercet.publish.pictures import handout_pictures, shapes_used
from tercet.publish.pictures.handout_bars import handout_lines
from tercet.song import drop_pins, parse_song, read_song
from tercet.theory import TUNINGS
from tests.measure.diagrams import diagrams_of, seen
from tests.measure.handouts import Struck, smallest_digit, strokes_of, verses_of
from tests.measure.text_boxes import outside, overlapping, text_boxes
from tests.performing.pieces import Visit, piece, pieces, strum, tune
from tests.publish.drawn import four_bars, three_layers

SONGS = sorted(Path("songs").glob("*.yaml"))
SONG = """\
title: {title}
meter: 4/4
sections:
  verse: |
    chords   {chords}
    melody   {melody}
"""


@cache
def arranged(path: Path, tuning: str) -> Arrangement:
    return arrange(drop_pins(read_song(path))[0], TUNINGS[tuning])


def drawn(made: Arrangement, *, left_handed: bool = False) -> list[str]:
    return [svg_text(picture) for picture in handout_pictures(made, left_handed=left_handed)]


def written(text: str, title: str = "A song", **values: str) -> Arrangement:
    song = parse_song(
        text.format(**{"title": "A song", "chords": "C | F", "melody": "G4:4 | A4:4", **values})
    )
    return arrange(replace(song, title=title))


def as_read(gesture: Gesture) -> Struck:
    """Return what a reader should read of a gesture."""
    strings = [note.string for note in gesture.notes]
    strums = gesture.layer == "strums"
    frets = () if strums else tuple(sorted((note.string, note.fret or 0) for note in gesture.notes))
    arrow = tuple(strings) if gesture.action in ("roll", "strum") else ()
    large = {note.string for note in gesture.notes if note.part == "tune" and len(strings) > 1 and not strums}
    return Struck(gesture.layer, gesture.action, frets, arrow, frozenset(large))


def by_bar(made: Arrangement) -> dict[int, list[Gesture]]:
    found: dict[int, list[Gesture]] = defaultdict(list)
    for gesture in made.gestures:
        found[gesture.bar_number].append(gesture)
    return found


def shown_bars(made: Arrangement) -> list[int]:
    return [number for line in handout_lines(made) for number in line.bar_numbers]


def check_strokes(made: Arrangement, svgs: list[str]) -> None:
    """Check that every stroke of the bars that are shown is drawn as it is played, in order, and no other."""
    gestures = by_bar(made)
    wanted = [as_read(gesture) for number in shown_bars(made) for gesture in gestures[number]]
    assert [stroke for svg in svgs for stroke in strokes_of(svg)] == wanted


def check_coverage(made: Arrangement) -> None:
    """Check that every bar that isn't shown is played as one that is, at the same place of its section."""
    shown = set(shown_bars(made))
    gestures = by_bar(made)
    places = defaultdict(list)
    for bar in made.bars:
        if bar.number in shown:
            places[bar.section, bar.section_bar].append(_relative(gestures[bar.number], bar.start_beat))
    for bar in made.bars:
        assert _relative(gestures[bar.number], bar.start_beat) in places[bar.section, bar.section_bar]


def _relative(gestures: list[Gesture], start: object) -> list[object]:
    return [(gesture.start_beat - start, as_read(gesture)) for gesture in gestures]  # type: ignore[operator]


def size_of(svg: str) -> tuple[float, float]:
    root = ET.fromstring(svg)
    return float(root.get("width", "")), float(root.get("height", ""))


def check_looks(svgs: list[str]) -> None:
    for svg in svgs:
        boxes = text_boxes(svg)
        assert overlapping(boxes) == []
        assert outside(boxes, *size_of(svg)) == []
        assert smallest_digit(svg) >= size_of(svg)[1] / 40


@pytest.mark.parametrize("tuning", TUNINGS)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_a_song_is_drawn_as_it_is_played(path: Path, tuning: str) -> None:
    made = arranged(path, tuning)
    svgs = drawn(made)
    assert len(svgs) <= 3
    check_strokes(made, svgs)
    check_coverage(made)
    check_looks(svgs)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_every_word_of_every_verse_is_there(path: Path) -> None:
    made = arranged(path, "high-g")
    verses: dict[int, list[str]] = defaultdict(list)
    for svg in drawn(made):
        for verse, words in enumerate(verses_of(svg)):
            verses[verse] += words
    rows = [" ".join(words) for words in verses.values()]
    for bar in made.bars:
        sung = [syllable.text + "-" * syllable.joined for _, syllable in bar.words if not syllable.holds]
        assert any(" ".join(sung) in row for row in rows), sung


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_the_shapes_of_a_picture_are_those_of_its_bars(path: Path) -> None:
    made = arranged(path, "high-g")
    found = []
    for svg, picture in zip(drawn(made), handout_pictures(made), strict=True):
        shapes = [seen(diagram).frets for diagram in diagrams_of(svg)]
        found += shapes
        assert len(shapes) == len({(seen(each).frets, _told(each)) for each in diagrams_of(svg)}), "each once"
        assert picture.height / picture.width == 1080 / 1920
    assert set(found) == {use.frets for use in shapes_used(made, set(shown_bars(made)))}
    mirrored = [seen(diagram).frets for svg in drawn(made, left_handed=True) for diagram in diagrams_of(svg)]
    assert mirrored == [frets[::-1] for frets in found]
    check_looks(drawn(made, left_handed=True))


def _told(diagram: ET.Element) -> str:
    """Return the chord of a diagram."""
    return (diagram.findtext("{http://www.w3.org/2000/svg}title") or "").split(",")[0]


@settings(max_examples=25, deadline=None)
@given(made=pieces())
def test_anything_that_is_played_can_be_drawn(made: Arrangement) -> None:
    svgs = drawn(made)
    check_strokes(made, svgs)
    check_coverage(made)
    assert all(smallest_digit(svg) >= size_of(svg)[1] / 40 for svg in svgs)


# ---- sabotage: the measurements see what is wrong


def test_the_measures_see_a_wrong_digit_string_arrow_and_size() -> None:
    made = three_layers()
    svgs = drawn(made)
    check_strokes(made, svgs)
    first = re.search(r'(<text class="fret"[^>]*y=")([\d.]+)("[^>]*>)(\d+)<', svgs[0])
    assert first is not None
    spoilt = {
        "digit": svgs[0].replace(first[0], f"{first[1]}{first[2]}{first[3]}9<", 1),
        "string": svgs[0].replace(first[0], f"{first[1]}{float(first[2]) + 31}{first[3]}{first[4]}<", 1),
    }
    roll = re.search(r'class="roll" points="([\d.]+),([\d.]+) ([\d.]+),([\d.]+)"', svgs[0])
    assert roll is not None
    x, start, _, end = roll.groups()
    spoilt["arrow"] = svgs[0].replace(roll[0], f'class="roll" points="{x},{float(start) - 31} {x},{end}"', 1)
    for svg in spoilt.values():
        with pytest.raises(AssertionError):
            check_strokes(made, [svg, *svgs[1:]])
    small = first[0].replace('font-size="38"', 'font-size="25"').replace('font-size="42"', 'font-size="25"')
    number = re.search(r'<text class="bar number" x="[\d.]+" y="[\d.]+"', svgs[0])
    word = re.search(r'<text class="word" x="[\d.]+" y="[\d.]+"', svgs[0])
    assert number is not None
    assert word is not None
    for right, wrong in ((first[0], small), (number[0], word[0].replace("word", "bar number"))):
        with pytest.raises(AssertionError):
            check_looks([svgs[0].replace(right, wrong, 1)])


def test_the_look_at_coverage_sees_a_bar_that_is_left_out() -> None:
    made = piece(
        tune(0, 4, "4321"), tune(4, 4, "21", "2010"), visits=(Visit("verse", 1, 1), Visit("verse", 2, 1))
    )
    check_coverage(made)
    assert len(shown_bars(made)) == 2, "the hands do something else the second time"


# ---- what is shown


def test_a_line_that_is_played_again_is_shown_once_with_all_its_words() -> None:
    made = piece(
        tune(0, 4, "321"), tune(4, 4, "321"), tune(8, 4, "321"),
        visits=tuple(Visit("verse", number, 1) for number in (1, 2, 3)),
        words={1: [(0, "one")], 2: [(0, "two")], 3: [(0, "one")]},
    )  # fmt: skip
    (svg,) = drawn(made)
    assert verses_of(svg) == [["one"], ["two"]], "words that are sung again aren't written again"
    assert len(strokes_of(svg)) == 1


def test_a_line_that_is_played_otherwise_says_which_time() -> None:
    made = piece(tune(0, 4, "4321"), tune(4, 4, "21"), visits=(Visit("verse", 1, 1), Visit("verse", 2, 1)))
    (svg,) = drawn(made)
    assert re.findall(r'class="(?:section|time)"[^>]*>([^<]+)<', svg) == ["verse", "verse", "second time"]


def test_pictures_break_between_lines_of_music_and_are_numbered() -> None:
    made = arranged(SONGS[2], "high-g")
    svgs = drawn(made)
    assert [re.findall(r'class="picture number"[^>]*>([^<]+)<', svg) for svg in svgs] == [
        [f"{number} of {len(svgs)}"] for number in range(1, len(svgs) + 1)
    ]
    firsts = {line.bar_numbers[0] for line in handout_lines(made)}
    starts = [int(re.findall(r'class="bar number"[^>]*>(\d+)<', svg)[0]) for svg in svgs]
    assert all(start in firsts for start in starts[1:])


def test_a_short_song_is_drawn_larger() -> None:
    (short,) = drawn(three_layers())
    assert size_of(short) == (1280.0, 720.0)
    assert smallest_digit(short) / 720 > 1.4 / 40
    assert {size_of(svg) for svg in drawn(arranged(SONGS[2], "high-g"))} == {(1920.0, 1080.0)}


# ---- hostile songs


SCRIPT = "<script>alert(1)</script>"


@pytest.mark.parametrize(
    "made",
    [
        written(SONG, title=f"{SCRIPT} </svg> {'long ' * 4000}"),
        written(SONG, title="名前のない歌 שיר ללא שם"),
        written(SONG, chords="C", melody="G4:4"),
        written(SONG, chords="N.C. | N.C."),
        written(SONG, chords="C#m7b5/G# F#mmaj7/C# | Bbmaj9/D"),
        written(SONG + "    words    愛してる | 시간\n"),
        written(SONG + "    words    שלום | مرحبا\n"),
        written(SONG + f"    words    {SCRIPT} | {'a' * 300}\n"),
        written(SONG + "    words    12345678901234567890123456789012 | 7\n"),
        written(
            SONG + "    words    " + " ".join(["strengths"] * 32) + " | no\n",
            melody="G4:1/8 " * 32 + "| A4:4",
        ),
        written(SONG, melody="G4:1/16 " * 64 + "| A4:4"),
    ],
    ids=[
        "script and a long title", "other scripts in the title", "one bar", "no chords", "long chord names",
        "CJK words", "words from right to left", "script and long words", "digits in words",
        "a bar wider than a row", "very many notes",
    ],
)  # fmt: skip
def test_hostile_songs_make_correct_and_harmless_pictures(made: Arrangement) -> None:
    svgs = drawn(made)
    check_strokes(made, svgs)
    check_looks(svgs)
    for svg in svgs:
        assert "<script" not in svg
        assert svg.count("</svg>") == 1


def test_six_hundred_bars_take_many_pictures_and_lose_nothing() -> None:
    strokes = [
        stroke
        for bar in range(600)
        for stroke in (
            tune(4 * bar, 2, "4321"[bar % 3 :], ("0003", "2010", "0212")[bar % 3]),
            strum(4 * bar + 2, 1),
        )
    ]
    made = piece(*strokes, visits=(Visit("verse", 1, 600),))
    svgs = drawn(made)
    assert len(svgs) > 10
    check_strokes(made, svgs)
    for svg in (svgs[0], svgs[-1]):
        check_looks([svg])


def test_a_song_without_a_note_is_empty_but_drawn() -> None:
    (svg,) = drawn(piece(visits=(Visit("verse", 1, 2),)))
    assert strokes_of(svg) == []


def test_the_same_song_gives_the_same_pictures() -> None:
    made = four_bars()
    assert drawn(made) == drawn(made)
