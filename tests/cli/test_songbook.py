"""``tercet songbook``: what its files say, read with another library than they were written with."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.cli import main
from tercet.publish.songbook import Book
from tests.cli.conftest import SMALL_SONG, Ran
from tests.measure.books import Half, Mark, bookmarks, halves, links
from tests.measure.papers import fonts_of, loose_fonts, sizes_pt
from tests.measure.sheets import bars_by_page
from tests.measure.song_text import read_song_text

Run = Callable[..., Ran]
ROOT = Path(__file__).parents[2]
FURNITURE = ["Our Songs", "Contents", "How to read the music", "Shapes used", "First lines"]

SILENT_SONG = """\
title: A Tune of No Words
key: C major
meter: 3/4
tempo: 90
sections:
  verse: |
    chords   C      | G7       | C
    melody   C5 B4 A | G4:2 A   | G4:3
"""


@pytest.fixture(scope="module")
def songs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of songs: one of several pages, one that fits a page, one without words and licence."""
    folder = tmp_path_factory.mktemp("songs")
    shutil.copy(ROOT / "songs" / "bakers-lullaby.yaml", folder)
    (folder / "kettles.yaml").write_text(SMALL_SONG, encoding="utf-8")
    (folder / "silent.yaml").write_text(SILENT_SONG, encoding="utf-8")
    return folder


def bound(songs: Path, path: Path, *options: object) -> bytes:
    words = ["songbook", *sorted(songs.glob("*.yaml")), "-o", path, "--title", "Our Songs", *options]
    assert main([*map(str, words)]) == 0
    return path.read_bytes()


@pytest.fixture(scope="module")
def book(songs: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return bound(songs, tmp_path_factory.mktemp("book") / "book.pdf", "--jobs", 1, "--date", "Autumn 2026")


@pytest.fixture(scope="module")
def booklet(songs: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return bound(songs, tmp_path_factory.mktemp("booklet") / "booklet.pdf", "--booklet", "--jobs", 1)


def bars_of(path: Path) -> list[int]:
    song = read_song_text(path)
    return list(range(1, int((song.end_beat - song.pickup_beat) / Fraction(song.bar_beat)) + 1))


def every_bar_stands_once(pdf: bytes, songs: Path, columns: int = 1) -> None:
    """Each song has each of its bars once between its bookmark and the next, and no bar stands elsewhere."""
    pages = zip(halves(pdf, columns), bars_by_page(pdf, columns), strict=True)
    in_order = sorted(pages, key=lambda page: place_of(page[0]))
    marks = [mark for mark in bookmarks(pdf, columns) if mark.level == 0 and mark.title not in FURNITURE[:3]]
    starts = [place_in_order(pdf, columns, mark) for mark in marks]
    paths = sorted(songs.glob("*.yaml"))
    assert len(marks) == len(paths) + 2
    for path, mark, first, after in zip(paths, marks, starts, starts[1:], strict=False):
        assert mark.title == read_song_text(path).title
        shown = [number for _, bars in in_order[first:after] for number in bars]
        assert sorted(shown) == bars_of(path), mark.title
    assert not [number for _, bars in in_order[: starts[0]] for number in bars]
    assert not [number for _, bars in in_order[starts[len(paths)] :] for number in bars]


def place_of(page: Half) -> float:
    """Return where a page stands in its book: its number, first the title page without one, last what is empty."""
    return (page.number or 1) if page.texts else float("inf")


def place_in_order(pdf: bytes, columns: int, mark: Mark) -> int:
    return (halves(pdf, columns)[mark.page].number or 1) - 1


def rows_lead_where_they_say(pdf: bytes, titles: set[str], columns: int = 1) -> None:
    """Each row of contents and index that is a link ends with the number that stands on the page it leads to."""
    pages, found = halves(pdf, columns), links(pdf, columns)
    for link in found:
        assert pages[link.to_page].number == int(link.said.split()[-1]), link
    begun = {title for link in found for title in titles if title in pages[link.to_page].said}
    assert begun == titles
    assert len(found) == 2 * len(titles)


# ---- what a book holds


def test_every_bar_of_every_song_stands_once(book: bytes, songs: Path) -> None:
    every_bar_stands_once(book, songs)


def test_a_page_that_is_missing_or_there_twice_is_seen(book: bytes, songs: Path) -> None:
    from io import BytesIO

    from pypdf import PdfReader, PdfWriter

    reader = PdfReader(BytesIO(book))
    every = list(range(len(reader.pages)))
    for spoilt in ([*every[:4], *every[5:]], [*every[:5], *every[4:]]):
        writer = PdfWriter()
        for page in spoilt:
            writer.add_page(reader.pages[page])
        for mark in bookmarks(book):
            writer.add_outline_item(title=mark.title, page_number=min(mark.page, len(writer.pages) - 1))
        made = BytesIO()
        writer.write(made)
        with pytest.raises(AssertionError):
            every_bar_stands_once(made.getvalue(), songs)


def test_contents_and_index_lead_where_they_say(book: bytes, songs: Path) -> None:
    titles = {read_song_text(path).title for path in songs.glob("*.yaml")}
    rows_lead_where_they_say(book, titles)
    contents, index = (
        [link.said.rsplit(" ", 1)[0] for link in links(book) if link.page == page]
        for page in (1, len(halves(book)) - 1)
    )
    assert contents == [
        "The Baker's Lullaby traditional",
        "Two Kettles Tercet example songs",
        "A Tune of No Words",
    ]
    assert index == [
        "A Tune of No Words",
        "Hot water sings, two songs.",
        "Rise, rise and sleep, my little loaf of bread",
    ]


def test_bookmarks_are_those_of_the_book(book: bytes) -> None:
    marks = bookmarks(book)
    assert [mark.title for mark in marks] == [
        *FURNITURE[:3],
        "The Baker's Lullaby",
        "Two Kettles",
        "A Tune of No Words",
        *FURNITURE[3:],
    ]
    for mark in marks:
        assert mark.title in halves(book)[mark.page].said


def test_the_title_page_says_what_and_when(book: bytes) -> None:
    said = halves(book)[0].said
    assert "Our Songs Autumn 2026 3 songs · high-g · beginner and improving" in said
    assert "where none does, ask before you copy it" in said
    assert halves(book)[0].number is None


def test_the_licence_stands_on_every_page_of_a_song(book: bytes) -> None:
    pages, marks = halves(book), {mark.title: mark.page for mark in bookmarks(book)}
    for page in range(marks["The Baker's Lullaby"], marks["Two Kettles"]):
        assert "The Baker's Lullaby · CC0-1.0" in pages[page].texts
    assert "A Tune of No Words" in pages[marks["A Tune of No Words"]].texts[-2:]


def test_pages_are_numbered_as_a_reader_counts_them(book: bytes) -> None:
    assert [page.number for page in halves(book)][1:] == list(range(2, len(halves(book)) + 1))


def test_all_fonts_are_in_the_file_once(book: bytes) -> None:
    assert loose_fonts(book) == []
    assert set(fonts_of(book)) == {"NotoSans-Regular", "NotoSans-Bold", "NotoSans-Italic"}


# ---- other books


def test_a_booklet_reads_in_order_when_it_is_folded(booklet: bytes, songs: Path) -> None:
    assert set(sizes_pt(booklet)) == {(839.06, 595.28)}, "two A5 pages beside each other: A4 on its side"
    found = [half.number for half in halves(booklet, 2)]
    count = len(found)
    assert count % 4 == 0
    for side in range(0, count // 2, 2):
        left, right, left_behind, right_behind = (
            count - side,
            side + 1,
            side + 2,
            count - side - 1,
        )
        here = found[2 * side : 2 * side + 4]
        wanted = [left, None if right == 1 else right, left_behind, right_behind]
        assert [number for number in here if number] == [
            number for number, shown in zip(wanted, here, strict=True) if number and shown
        ]
        for number, shown in zip(wanted, here, strict=True):
            assert shown == number or (shown is None and number is not None and number > count - 4)
    every_bar_stands_once(booklet, songs, columns=2)
    rows_lead_where_they_say(booklet, {read_song_text(path).title for path in songs.glob("*.yaml")}, 2)


def test_letter_large_and_left_handed(songs: Path, tmp_path: Path) -> None:
    options = ("--paper", "letter", "--large", "--left-handed", "--jobs", 1)
    pdf = bound(songs, tmp_path / "large.pdf", *options)
    assert set(sizes_pt(pdf)) == {(612.0, 792.0)}
    every_bar_stands_once(pdf, songs)
    assert "count" not in {text for page in halves(pdf) for text in page.texts}
    half = bound(songs, tmp_path / "half.pdf", "--paper", "letter", "--booklet", "--jobs", 1)
    assert set(sizes_pt(half)) == {(792.0, 612.0)}


def test_a_class_gets_a_sheet_for_each_instrument_and_level(songs: Path, tmp_path: Path, tercet: Run) -> None:
    (tmp_path / "kettles.yaml").write_text(SMALL_SONG, encoding="utf-8")
    (tmp_path / "class.yaml").write_text(
        "name: Tuesday\ntunings: high-g, baritone\nplayers: beginner, improving\n", encoding="utf-8"
    )
    made = tercet("songbook", *sorted(tmp_path.glob("*.yaml")), "-o", tmp_path / "book.pdf", "--jobs", 1)
    assert made.code == 0
    assert "class.yaml is a class file" in made.err
    pdf = (tmp_path / "book.pdf").read_bytes()
    sets = ["high-g, beginner", "high-g, improving", "baritone, beginner", "baritone, improving"]
    marks = bookmarks(pdf)
    assert [(mark.level, mark.title) for mark in marks] == [
        (0, "Tuesday"),
        *((0, title) for title in FURNITURE[1:3]),
        (0, "Two Kettles"),
        *((1, title) for title in sets),
        *((0, title) for title in FURNITURE[3:]),
    ]
    for mark in marks[4:8]:
        assert mark.title in halves(pdf)[mark.page].texts
        assert sorted(bars_by_page(pdf)[mark.page]) == [1, 2, 3, 4, 5, 6]
    assert "1 song · high-g and baritone · beginner and improving" in halves(pdf)[0].said
    back = halves(pdf)[marks[8].page].said
    assert "high-g: G4 C4 E4 A4, strings 4 to 1" in back
    assert "baritone: D3 G3 B3 E4, strings 4 to 1" in back
    one = tercet(
        "songbook",
        tmp_path / "kettles.yaml",
        "-o",
        tmp_path / "low.pdf",
        "--tuning",
        "low-g",
        "--players",
        "beginner",
        "--jobs",
        1,
    )
    assert one.code == 0
    assert [mark.level for mark in bookmarks((tmp_path / "low.pdf").read_bytes())] == [0] * 6


def test_the_same_songs_give_the_same_bytes_wherever_they_are_made(
    songs: Path, book: bytes, tmp_path: Path
) -> None:
    assert bound(songs, tmp_path / "again.pdf", "--jobs", 2, "--date", "Autumn 2026") == book


def test_python_has_it_too(tmp_path: Path) -> None:
    import tercet

    events: list[tercet.Event] = []
    song = tercet.parse_song(SMALL_SONG)
    options = tercet.SongbookOptions(title="One", jobs=1, paper="a5")
    path = tercet.songbook([song, song], tmp_path / "one.pdf", options, events.append)
    pdf = path.read_bytes()
    assert set(sizes_pt(pdf)) == {(419.53, 595.28)}
    assert [mark.title for mark in bookmarks(pdf)].count("Two Kettles") == 2
    made = events[-1]
    assert (made.kind, made.size_bytes, made.text) == (
        "made",
        len(pdf),
        f"2 songs on {len(halves(pdf))} pages",
    )


# ---- what is told, and what is refused


def test_songs_that_say_nothing_of_copying_are_told_once(songs: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "book.pdf"
    made = tercet("songbook", songs / "silent.yaml", songs / "kettles.yaml", "-o", path, "--jobs", 1)
    assert (made.code, made.out) == (0, f"{path}\n")
    assert made.err.count("says nothing of who may copy") == 1
    assert (
        "A Tune of No Words says nothing of who may copy: write a line such as `licence: CC0-1.0`" in made.err
    )


def test_a_booklet_says_how_it_is_printed(songs: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "book.pdf"
    made = tercet("songbook", songs / "kettles.yaml", "-o", path, "--booklet", "--jobs", 1)
    assert "turned over at the short edge: 2 sheets" in made.err


def test_mistakes_of_all_songs_are_told_in_one_go_and_nothing_is_made(
    songs: Path, tmp_path: Path, tercet: Run
) -> None:
    (tmp_path / "first.yaml").write_text(SMALL_SONG.replace("G7  ", "H7  "), encoding="utf-8")
    (tmp_path / "second.yaml").write_text(SMALL_SONG.replace("meter: 3/4", "meter: 3/5"), encoding="utf-8")
    before = set(tmp_path.iterdir())
    made = tercet("songbook", *sorted(before), songs / "kettles.yaml", "-o", tmp_path / "book.pdf")
    assert (made.code, made.out) == (1, "")
    assert "first.yaml" in made.err
    assert "verse, bar 2, chords" in made.err
    assert "second.yaml" in made.err
    assert "meter" in made.err
    assert set(tmp_path.iterdir()) == before


def test_songs_that_can_not_be_laid_out_are_told_in_one_go(
    songs: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tercet.errors import RequestError
    from tercet.kit import songbook

    def refused(song: object, *_: object) -> None:
        raise RequestError(f"no neck is long enough for {song.title}")  # type: ignore[attr-defined]

    monkeypatch.setattr(songbook, "arranged_sets", refused)
    two = (songs / "kettles.yaml", songs / "silent.yaml")
    made = tercet("songbook", *two, "-o", tmp_path / "book.pdf", "--jobs", 1)
    assert (made.code, made.out) == (1, "")
    assert "Two Kettles: no neck is long enough for Two Kettles" in made.err
    assert "A Tune of No Words: no neck is long enough" in made.err
    assert list(tmp_path.iterdir()) == []


def test_a_file_of_the_user_stays(songs: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "book.pdf"
    path.write_text("mine", encoding="utf-8")
    command = ("songbook", songs / "kettles.yaml", "-o", path, "--jobs", 1)
    refused = tercet(*command)
    assert refused.code == 1
    assert "already exists and stays as it is" in refused.err
    assert path.read_text(encoding="utf-8") == "mine"
    assert tercet(*command, "--replace").code == 0
    assert path.read_bytes().startswith(b"%PDF")
    assert tercet(*command).code == 0, "Tercet made it itself"


def test_a_book_that_breaks_off_leaves_what_was_there(
    songs: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.pdf"
    command = ("songbook", songs / "kettles.yaml", "-o", path, "--jobs", 1)
    assert tercet(*command).code == 0
    whole = path.read_bytes()

    def broken(self: Book, place: Path, _told: object) -> None:
        place.write_bytes(b"%PDF, half of it")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Book, "write", broken)
    assert tercet(*command).code != 0
    assert path.read_bytes() == whole
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("-o", "book.txt"), "ends in .txt: a songbook's name ends in .pdf, such as book.pdf"),
        (("-o", "b.pdf", "--paper", "A3"), "--paper must be A4, Letter, A5 or Half-Letter (got A3)"),
        (("-o", "b.pdf", "--paper", "A5", "--booklet"), "A4 folded to A5 or Letter folded to Half-Letter"),
        (("-o", "b.pdf", "--tuning", "low-g,low-g"), "low-g appears twice"),
    ],
)
def test_what_can_not_be_bound_is_told(
    songs: Path,
    tmp_path: Path,
    tercet: Run,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    refused = tercet("songbook", songs / "kettles.yaml", *arguments)
    assert refused.code in (1, 2)
    assert message in refused.err
    assert list(tmp_path.iterdir()) == []
