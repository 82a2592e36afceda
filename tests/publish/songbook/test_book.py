"""A book put together from songs that are laid out, as drawings: no file is written."""

from __future__ import annotations

from functools import lru_cache

import pytest

from tercet.arranging import Arrangement
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.score.pages import SheetLook
from tercet.publish.shapes import Drawing
from tercet.publish.songbook import Book, BookLook, BookSong, Cover, bound, laid_out
from tercet.publish.songbook.back import plain_shapes
from tercet.publish.songbook.songs import first_words
from tercet.publish.svg import svg_text
from tests.measure.diagrams import diagrams_of, seen
from tests.measure.sheets import bars_shown, overlaps, texts
from tests.publish.papers import HOSTILE, arranged, hostile, written

PATHS = ("songs/bakers-lullaby.yaml", "songs/washing-up-branle.yaml")
LONGER = "songs/harbour-lanterns.yaml"
LOOKS = {
    "a4": (BookLook("A4"), SheetLook("A4", in_book=True)),
    "a5": (BookLook("A5"), SheetLook("A5", in_book=True)),
    "large": (BookLook("Letter", large=True), SheetLook("Letter", large=True, in_book=True)),
    "left": (BookLook("A4", left_handed=True), SheetLook("A4", left_handed=True, in_book=True)),
}


@lru_cache(maxsize=64)
def laid(name: str, look: str) -> tuple[BookSong, tuple[Drawing, ...]]:
    made = hostile(name) if name in HOSTILE else arranged(name)
    return laid_out([("", made)], LOOKS[look][1])


def book_of(*names: str, look: str = "a4", facing: bool = False, title: str = "Our Songs") -> Book:
    songs = [laid(name, look) for name in names]
    return bound(
        [song for song, _ in songs],
        Cover(title),
        LOOKS[look][0],
        lambda song, page: songs[song][1][page],
        facing=facing,
    )


def drawn(book: Book) -> list[str]:
    return [svg_text(book.page_at(page).drawing) for page in range(book.pages)]


def starts(book: Book) -> dict[str, int]:
    return {mark.title: mark.page for mark in book.bookmarks}


@pytest.mark.parametrize("look", LOOKS)
def test_no_text_of_a_page_runs_into_another(look: str) -> None:
    for page in drawn(book_of(*PATHS, look=look)):
        assert overlaps(page) == []


@pytest.mark.parametrize("look", ["a4", "left"])
def test_all_shapes_of_the_sheets_stand_at_the_back_once(look: str) -> None:
    book = book_of(*PATHS, look=look)
    back = starts(book)["Shapes used"]
    pages = drawn(book)

    def shapes(some: list[str]) -> list[tuple[str, tuple[int | None, ...]]]:
        return [(found.name, found.frets) for page in some for found in map(seen, diagrams_of(page))]

    at_the_back = shapes(pages[back:])
    assert len(at_the_back) == len(set(at_the_back))
    assert set(at_the_back) == set(shapes(pages[:back]))
    assert len(at_the_back) > 8
    chords = [chord for chord, _ in at_the_back]
    assert chords == sorted(chords), "sorted by chord"


def test_a_sheet_in_a_book_has_no_small_print_of_its_own() -> None:
    book = book_of(*PATHS)
    at = starts(book)
    pages = drawn(book)
    for page in pages[at["The Baker's Lullaby"] : at["Shapes used"]]:
        assert not texts(page, "small print")
    told = texts(pages[at["How to read the music"]], "paragraph")
    assert any(line.startswith("Tab: string 1 on top") for line in told)
    assert any(line.startswith("demo: listen") for line in told)
    assert len(told) == len(set(told))


@pytest.mark.parametrize("look", ["a4", "a5"])
def test_two_pages_face_each_other_where_that_is_asked_for(look: str) -> None:
    # Songs of one page and of three lie between those of two and four.
    names = ("one bar", *PATHS, LONGER, "no words", LONGER, *PATHS)
    book = book_of(*names, look=look, facing=True)
    at = iter([mark for mark in book.bookmarks if mark.level == 0][3:])
    pages, even = drawn(book), 0
    for name in names:
        page, count = next(at).page, len(laid(name, look)[1])
        if count % 2 == 0:
            even += 1
            assert page % 2 == 1, "page numbers are one more: an even one lies on the left"
    assert even
    notes = [page for page in pages if texts(page, "notes")]
    assert notes
    assert book.pages == book_of(*names, look=look).pages + len(notes)


def test_the_number_of_a_page_is_on_its_outer_side() -> None:
    pages = drawn(book_of(*PATHS))
    assert texts(pages[0], "page number") == []
    assert [texts(page, "page number") for page in pages[1:]] == [
        [str(number)] for number in range(2, len(pages) + 1)
    ]
    assert 'text-anchor="end"' not in pages[1].split('class="page number"')[1].split(">")[0]
    assert 'text-anchor="end"' in pages[2].split('class="page number"')[1].split(">")[0]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_songs_make_harmless_books(name: str) -> None:
    book = book_of(name, title="</title><script>alert(1)</script>" * 20)
    pages = drawn(book)
    assert not any("<script" in page for page in pages)
    shown = [number for page in pages for number in bars_shown(page)]
    assert len(shown) == len(set(shown))
    assert shown
    for page in (pages[0], pages[1], pages[-1]):
        assert overlaps(page) == []


@pytest.mark.parametrize(
    ("body", "first"),
    [
        (
            "chords C | F\nmelody G4 E G C5 | A4:2 F:2\nwords  Rain on tin, rain | on tin",
            "Rain on tin, rain on tin",
        ),
        ("chords C | F\nmelody G4 E G C5 | A4:2 F:2\nwords  Rain on tin, Snow | on roofs.", "Rain on tin"),
        (
            "chords C | F\nmelody G4 E G C5 | A4:2 F:2\nwords  Ket-tles sing, ho, | two pots,",
            "Kettles sing, ho, two pots",
        ),
        ("chords C | F\nmelody G4 E G C5 | A4:2 F:2", ""),
        (
            "chords C\nmelody G4 E G C5\n\nchords C | F\nmelody G4 E G C5 | A4:2 F:2\nwords _ _ O-ver | blue hills",
            "Over blue hills",
        ),
        (
            (
                "chords C\nmelody G4 E G C5\nwords Who goes there o-\n\n"
                "chords C | F\nmelody G4 E G C5 | A4:2 F:2\nwords ver the blue hill | right now"
            ),
            "Who goes there over",
        ),
    ],
)
def test_the_first_line_that_is_sung(body: str, first: str) -> None:
    assert first_words(written(body).bars) == first


def test_a_pick_up_belongs_to_the_line_that_it_leads_into() -> None:
    made = written("chords | C | F\nmelody G4 | G E G C5 | A4:2 F:2\nwords The | rain on tin roofs | all day")
    assert first_words(made.bars) == "The rain on tin roofs all day"


def test_shapes_are_sorted_and_merged() -> None:
    uses = [
        ShapeUse("G7", (0, 2, 1, 2), (), (1,)),
        ShapeUse("Bb", (3, 2, 1, 1)),
        ShapeUse("B", (4, 3, 2, 2)),
        ShapeUse("G7", (0, 2, 1, 2), (0, 2, 1, 3), (3,)),
        ShapeUse("", (0, 0, 0, 0)),
        ShapeUse("G", (0, 2, 3, 2)),
    ]
    merged = plain_shapes(uses)
    assert [use.chord for use in merged] == ["Bb", "B", "G", "G7", ""]
    assert merged[3] == ShapeUse("G7", (0, 2, 1, 2), (0, 2, 1, 3))


def test_several_sets_are_told_apart() -> None:
    both: list[tuple[str, Arrangement]] = [
        ("high-g, beginner", arranged(PATHS[0])),
        ("low-g, beginner", hostile("no words")),
    ]
    song, pages = laid_out(both, SheetLook("A4", in_book=True))
    book = bound([song], Cover("Two"), BookLook("A4"), lambda _, page: pages[page])
    marks = [(mark.level, mark.title) for mark in book.bookmarks]
    assert marks[3:6] == [(0, song.title), (1, "high-g, beginner"), (1, "low-g, beginner")]
    told = drawn(book)
    for mark in book.bookmarks[4:6]:
        assert texts(told[mark.page], "for whom") == [mark.title]
        assert f"{mark.title} {mark.page + 1}" in texts(told[1], "sheet")
