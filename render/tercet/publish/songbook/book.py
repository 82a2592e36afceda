"""A book put together: what stands on which page, what leads where, and which pages lie on which side of paper."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path as FilePath

from tercet.publish.pdf import Bookmark, BookPage, Face, Side, signs_by_face, write_book
from tercet.publish.pictures.looks import FAINT, TEXT_SOFT
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.score.pages import page_foot
from tercet.publish.shapes import Anchor, Drawing, Ink, Path, Text
from tercet.publish.songbook.back import FIRST_LINES, SHAPES, index_pages, plain_shapes, shapes_pages
from tercet.publish.songbook.flow import BookLook
from tercet.publish.songbook.folding import booklet_sides, single_sides
from tercet.publish.songbook.front import (
    CONTENTS,
    READING,
    Cover,
    Entry,
    contents_pages,
    reading_pages,
    title_page,
)
from tercet.publish.songbook.songs import BookSong
from tercet.theory import Tuning

__all__ = ["Book", "bound"]

NOTES = "Notes"
NOTE_LINE = 26.0


@dataclass(frozen=True, slots=True)
class Book:
    """A book that is put together, ready to be written.

    Parameters
    ----------
    title
        What it is called.
    page_at
        Returns a page by its number from 0, as it is drawn.
    pages
        How many there are.
    sides
        What lies on each side of paper.
    bookmarks
        What a reader lists beside the pages.
    signs
        All signs of its pages, by face.
    """

    title: str
    page_at: Callable[[int], BookPage]
    pages: int
    sides: tuple[Side, ...]
    bookmarks: tuple[Bookmark, ...]
    signs: dict[Face, set[str]]

    def write(self, path: FilePath, told: Callable[[int], None] = lambda _: None) -> None:
        """Write it as a PDF file; `told` hears of each side of paper."""
        write_book(
            path, self.page_at, self.sides, self.signs, title=self.title, bookmarks=self.bookmarks, told=told
        )


@dataclass(frozen=True, slots=True)
class _SongPage:
    """A page of a song: which song, which of all its pages, for whom it is, and what stands at its foot."""

    song: int
    page: int
    for_whom: str
    notice: str


def bound(
    songs: Sequence[BookSong],
    cover: Cover,
    look: BookLook,
    song_page: Callable[[int, int], Drawing],
    *,
    facing: bool = False,
    booklet: bool = False,
) -> Book:
    """Put a book together.

    Parameters
    ----------
    songs
        In their order; at least one.
    cover
        What its title page says.
    look
        How its pages are to be.
    song_page
        Returns a page of a song: by the number of the song and the page among all of that song's.
    facing
        Whether a sheet of two pages, or four, begins on a left-hand page: it is played without a turn, or with one. A
        page before it that stays free is for notes.
    booklet
        Whether two pages lie on each side of paper, for folding.
    """
    front = 1 + len(contents_pages(_entries(songs, [[0] * len(song.sheets) for song in songs]), look))
    reading = reading_pages(
        tuple(dict.fromkeys(line for song in songs for line in song.reading)),
        tuple(dict.fromkeys(line for song in songs for line in song.practising)),
        look,
    )
    middle: list[_SongPage | None] = []
    starts: list[list[int]] = []
    for number, song in enumerate(songs):
        starts.append([])
        done = 0
        for sheet in song.sheets:
            here = front + len(reading) + len(middle)
            if facing and sheet.pages % 2 == 0 and here % 2 == 0:
                middle.append(None)
                here += 1
            starts[-1].append(here)
            middle += [
                _SongPage(number, done + page, sheet.title, sheet.notice) for page in range(sheet.pages)
            ]
            done += sheet.pages
    first_shapes = front + len(reading) + len(middle)
    shapes = shapes_pages(_by_tuning(songs), look)
    first_lines = first_shapes + len(shapes)
    index = index_pages(
        [(song.first_words, song.title, at[0]) for song, at in zip(songs, starts, strict=True)], look
    )
    contents = contents_pages(_entries(songs, starts), look)
    drawn = (title_page(cover, look), *contents, *reading)
    pages: list[BookPage | _SongPage | None] = [*drawn, *middle, *shapes, *index]
    marks = (
        Bookmark(cover.title, 0),
        Bookmark(CONTENTS, 1),
        Bookmark(READING, front),
        *_song_marks(songs, starts),
        Bookmark(SHAPES, first_shapes),
        Bookmark(FIRST_LINES, first_lines),
    )
    around = {(sheet.title, sheet.notice) for song in songs for sheet in song.sheets} | {("0123456789", "")}
    said = [shape for texts in sorted(around) for shape in _around(*texts, 0, look)]
    drawings = (page.drawing for page in (*drawn, *shapes, *index, _notes(look), look.page(said, "")))
    signs = signs_by_face(drawings)
    for face, used in (item for song in songs for item in song.signs.items()):
        signs.setdefault(face, set()).update(used)
    return Book(
        cover.title,
        partial(_page_at, pages, look, song_page),
        len(pages),
        booklet_sides(len(pages)) if booklet else single_sides(len(pages)),
        marks,
        signs,
    )


def _page_at(
    pages: Sequence[BookPage | _SongPage | None],
    look: BookLook,
    song_page: Callable[[int, int], Drawing],
    index: int,
) -> BookPage:
    """Return a page with its number at its foot, but for the first: a title page has none."""
    match pages[index]:
        case BookPage() as page:
            return _numbered(page, index, look) if index else page
        case _SongPage() as part:
            page = BookPage(song_page(part.song, part.page))
            return _numbered(page, index, look, part.for_whom, part.notice)
        case _:
            return _numbered(_notes(look), index, look)


def _numbered(page: BookPage, index: int, look: BookLook, for_whom: str = "", notice: str = "") -> BookPage:
    shapes = (*page.drawing.shapes, *_around(for_whom, notice, index, look))
    return replace(page, drawing=replace(page.drawing, shapes=shapes))


def _around(for_whom: str, notice: str, index: int, look: BookLook) -> Iterator[Text]:
    """Yield what stands above and below a page: for whom it is, who may copy it, its number."""
    left_hand = index % 2 == 1
    if for_whom:
        x = look.margin if left_hand else look.size[0] - look.margin
        anchor: Anchor = "start" if left_hand else "end"
        yield Text(x, look.margin - 6.0, for_whom, 10.0, TEXT_SOFT, anchor, "bold", "for whom")
    yield from page_foot(notice, str(index + 1), *look.size, left_hand=left_hand)


def _notes(look: BookLook) -> BookPage:
    """Return a page to write on."""
    margin, (width, height) = look.margin, look.size
    count = int((look.room - 2 * look.heading_size) / NOTE_LINE)
    top = height - margin - 18.0 - count * NOTE_LINE
    rules = [
        Path(
            ((margin, top + line * NOTE_LINE), (width - margin, top + line * NOTE_LINE)),
            Ink(stroke=FAINT, width=0.8),
        )
        for line in range(1, count + 1)
    ]
    title = Text(margin, margin + look.heading_size, NOTES, look.text_size, TEXT_SOFT, name="notes")
    return look.page((title, *rules), NOTES)


def _entries(songs: Sequence[BookSong], starts: Sequence[Sequence[int]]) -> list[Entry]:
    return [
        Entry(
            song.title,
            song.composer,
            tuple((sheet.title, page) for sheet, page in zip(song.sheets, at, strict=True)),
        )
        for song, at in zip(songs, starts, strict=True)
    ]


def _song_marks(songs: Sequence[BookSong], starts: Sequence[Sequence[int]]) -> Iterator[Bookmark]:
    """Yield a bookmark for each song, and under it one for each sheet where it has several."""
    for song, at in zip(songs, starts, strict=True):
        yield Bookmark(song.title, at[0])
        if len(at) > 1:
            for sheet, page in zip(song.sheets, at, strict=True):
                yield Bookmark(sheet.title, page, 1)


def _by_tuning(songs: Sequence[BookSong]) -> list[tuple[Tuning, tuple[ShapeUse, ...]]]:
    """Return the shapes of all songs for each tuning, in the order in which they come."""
    found: dict[Tuning, list[ShapeUse]] = defaultdict(list)
    for sheet in (sheet for song in songs for sheet in song.sheets):
        found[sheet.tuning] += sheet.shapes
    return [(tuning, plain_shapes(uses)) for tuning, uses in found.items()]
