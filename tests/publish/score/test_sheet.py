"""Sheets: pages, and what is promised of them, measured in the files."""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from itertools import product

import pytest

from tercet.arranging import Arrangement
from tercet.publish.picture_files import PAPERS_PT
from tercet.publish.score.finished_lines import Box, box_of
from tercet.publish.score.pages import Sheet, SheetLook, sheet_of, sheet_pdf, sheet_svg
from tercet.publish.score.written_form import written_form
from tercet.publish.shapes import Drawing, Group
from tests.measure.diagrams import diagrams_of, seen
from tests.measure.papers import loose_fonts, pages_text, sizes_pt
from tests.measure.picture import words_of
from tests.measure.sheets import bars_in_pdf, bars_shown, overlaps, tab_bars, texts
from tests.publish.papers import EXAMPLES, HOSTILE, arranged, hostile, six_hundred_bars

LOOKS = {
    "a4": SheetLook(),
    "letter": SheetLook(paper="Letter"),
    "large": SheetLook(large=True),
    "svg": SheetLook(paper=None),
}


@lru_cache(maxsize=64)
def sheet(path: str, look: str = "a4") -> Sheet:
    return sheet_of(hostile(path) if path in HOSTILE else arranged(path), LOOKS[look])


@lru_cache(maxsize=32)
def pdf(path: str, look: str = "a4") -> bytes:
    return sheet_pdf(sheet(path, look))


def pages(made: Sheet) -> list[str]:
    return [sheet_svg(made, index) for index in range(len(made.pages))]


def systems(page: Drawing) -> list[Group]:
    return [shape for shape in page.shapes if isinstance(shape, Group) and shape.name == "system"]


def lines_of_music(page: Drawing) -> list[Box]:
    """Return the boxes of the lines of music on a page, in points."""
    boxes = []
    for system in systems(page):
        assert system.placing
        x, y, scale = system.placing.x, system.placing.y, system.placing.scale
        box = box_of(system.shapes, page.signs)
        boxes.append(
            Box(x + box.left * scale, y + box.top * scale, x + box.right * scale, y + box.bottom * scale)
        )
    return boxes


def numbers(arrangement: Arrangement) -> list[int]:
    """Return the numbers of all bars, pick-ups at the very start not counted."""
    return [bar.number for bar in arrangement.bars if bar.section_bar]


@pytest.mark.parametrize(
    ("path", "look"),
    [*product(EXAMPLES, ["a4", "large"]), (EXAMPLES[0], "letter"), (EXAMPLES[0], "svg")],
)
def test_every_bar_of_the_song_is_there_exactly_once(path: str, look: str) -> None:
    shown = [number for page in pages(sheet(path, look)) for number in bars_shown(page)]
    assert Counter(shown) == Counter(numbers(arranged(path)))


@pytest.mark.parametrize("path", ["songs/harbour-lanterns.yaml", "tests/song/examples/every-rule.yaml"])
def test_a_pdf_has_every_bar_exactly_once(path: str) -> None:
    assert Counter(bars_in_pdf(pdf(path))) == Counter(numbers(arranged(path)))


@pytest.mark.parametrize(
    ("path", "look"),
    [*product([*EXAMPLES, *HOSTILE], ["a4", "large"]), (EXAMPLES[0], "letter"), (EXAMPLES[0], "svg")],
)
def test_no_two_texts_run_into_each_other(path: str, look: str) -> None:
    for page in pages(sheet(path, look)):
        assert overlaps(page) == []


@pytest.mark.parametrize("path", EXAMPLES)
@pytest.mark.parametrize("look", ["a4", "large"])
def test_digits_are_what_the_arrangement_plays(path: str, look: str) -> None:
    arrangement, made = arranged(path), sheet(path, look)
    shown = {
        bar.name: [column.frets for column in bar.columns] for page in pages(made) for bar in tab_bars(page)
    }
    for index, bar in enumerate(written_form(arrangement).bars):
        for stretch in bar.playings:
            columns: dict[object, dict[int, int]] = {}
            for gesture in arrangement.gestures:
                if stretch.start_beat <= gesture.start_beat < stretch.end_beat and gesture.action != "chop":
                    column = columns.setdefault(gesture.start_beat, {})
                    column.update(
                        {note.string: note.fret or 0 for note in gesture.notes if note.string not in column}
                    )
            assert shown[f"m{index}"] == [columns[beat] for beat in sorted(columns, key=float)]  # type: ignore[arg-type]


@pytest.mark.parametrize("path", EXAMPLES)
def test_arrows_span_the_strings_that_are_struck(path: str) -> None:
    bars = [bar for page in pages(sheet(path)) for bar in tab_bars(page)]
    rolls = 0
    for bar in bars:
        for arrow in bar.arrows:
            spans, struck = bar.spanned(arrow)
            assert spans == struck, bar.name
            rolls += 1
    assert rolls or not any(gesture.action == "roll" for gesture in arranged(path).gestures)


def test_partial_rolls_have_shorter_arrows() -> None:
    bars = [bar for page in pages(sheet("songs/harbour-lanterns.yaml")) for bar in tab_bars(page)]
    spans = {len(bar.spanned(arrow)[0]) for bar in bars for arrow in bar.arrows}
    assert spans == {2, 3, 4}


@pytest.mark.parametrize("path", EXAMPLES)
@pytest.mark.parametrize("look", ["a4", "large"])
def test_music_stays_within_its_page_and_lines_are_whole(path: str, look: str) -> None:
    made = sheet(path, look)
    for page in made.pages:
        bottom = 0.0
        for box in lines_of_music(page):
            assert box.left >= 0.0
            assert box.right <= page.width - 30.0
            assert box.top >= bottom - 1e-6, "lines of music lie below each other"
            bottom = box.bottom
            assert bottom <= page.height - 30.0


def test_what_a_class_needs_is_told() -> None:
    text = " ".join(" ".join(page.split()) for page in pages_text(pdf("songs/bicycle-bell.yaml")))
    for said in (
        "Bicycle Bell", "C major", "4/4", "= 112", "(2 : 1)", "high-g: G4 C4 E4 A4",
        "Form: verse, chorus, verse, chorus",
        "melody in front, f", "strums at the back, p", "the arrow points up the page while the hand goes down",
        "only-melody", "without-melody", "strum", "count", "finger", "CC0-1.0",
    ):  # fmt: skip
        assert said in text, said


def test_words_chords_and_sections_can_be_searched() -> None:
    text = " ".join(pages_text(pdf("songs/harbour-lanterns.yaml")))
    for said in ("verse", "chorus", "terns", "bell", "Am", "E7", "G7", "rit."):
        assert said in text


@pytest.mark.parametrize("path", [EXAMPLES[0], "script", "right to left", "cjk"])
def test_every_font_is_embedded(path: str) -> None:
    assert loose_fonts(pdf(path)) == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_are_of_the_paper(paper: str) -> None:
    size = PAPERS_PT["A4" if paper == "a4" else "Letter"]
    assert set(sizes_pt(pdf(EXAMPLES[0], paper))) == {size}


def test_the_same_song_gives_the_same_bytes() -> None:
    first = sheet_pdf(sheet_of(hostile("uneven")))
    assert pdf(EXAMPLES[0]) != first
    assert sheet_pdf(sheet_of(hostile("uneven"))) == first


def test_the_large_sheet_has_tab_and_words_only_and_is_larger() -> None:
    usual, large = (pages(sheet("songs/harbour-lanterns.yaml", look))[0] for look in ("a4", "large"))
    assert texts(usual, "count")
    assert not texts(large, "count")
    words = {word for page in pages(sheet("songs/harbour-lanterns.yaml")) for word in texts(page, "word")}
    assert set(texts(large, "word")) <= words
    assert 'class="clef"' in large
    scales = [
        system.placing.scale
        for look in ("a4", "large")
        for system in systems(sheet("songs/harbour-lanterns.yaml", look).pages[0])[:1]
        if system.placing
    ]
    assert scales[1] > 1.3 * scales[0]


def test_left_handed_diagrams_are_mirrored() -> None:
    arrangement = arranged("songs/harbour-lanterns.yaml")
    right, left = (
        [
            seen(each).frets
            for each in diagrams_of(sheet_svg(sheet_of(arrangement, SheetLook(left_handed=mirrored))))
        ]
        for mirrored in (False, True)
    )
    assert right
    assert [frets[::-1] for frets in right] == left


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_songs_make_harmless_sheets(name: str) -> None:
    made = sheet(name)
    shown = [number for page in pages(made) for number in bars_shown(page)]
    assert len(shown) == len(set(shown))
    if name != "many verses":
        assert shown == numbers(hostile(name))
    assert pages_text(pdf(name))
    endless = sheet_svg(sheet(name, "svg"))
    assert "<script" not in endless
    assert words_of(endless, "title")


def test_a_long_title_leaves_room_for_music() -> None:
    made = sheet("long title")
    assert systems(made.pages[0])
    assert len(texts(pages(made)[0], "title")) == 3


def test_a_bar_that_is_played_often_shows_its_first_and_last_numbers() -> None:
    assert texts(pages(sheet("many verses"))[0], "bar-number") == ["1 · 3 · … · 79", "2 · 4 · … · 80"]


def test_six_hundred_bars_are_all_there() -> None:
    made = sheet_of(six_hundred_bars())
    shown = [number for page in pages(made) for number in bars_shown(page)]
    assert shown == list(range(1, 601))
    assert len(made.pages) > 10
