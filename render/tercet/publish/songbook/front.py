"""The front of a book: its title page, what is in it, and how to read it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tercet.publish.paragraphs import shortened, wrapped
from tercet.publish.pdf import BookPage, Link
from tercet.publish.pictures.looks import LOOKS, TEXT, TEXT_SOFT
from tercet.publish.shapes import Ink, Path, Shape, Style, Text
from tercet.publish.songbook.flow import BookLook, Piece, flowed, heading, paragraph
from tercet.publish.typefaces import text_width_em
from tercet.song import Layer

__all__ = ["CONTENTS", "READING", "Cover", "Entry", "contents_pages", "reading_pages", "row", "title_page"]

CONTENTS, READING = "Contents", "How to read the music"
PRACTISING = "Practising with the recordings"
RIGHTS = "The licence of each song stands at the foot of its pages."
SILENT_RIGHTS = (
    "The licence of a song stands at the foot of its pages; where none does, ask before you copy it."
)

TITLE_SIZES = (46.0, 38.0, 30.0, 24.0)
"""A long title is set smaller, then in more lines."""

NEAR_TO_FAR: tuple[tuple[Layer, float, float, float], ...] = (
    ("melody", 6.0, 0.46, 0.0),
    ("between", 3.0, 0.34, 13.0),
    ("strums", 1.2, 0.24, 23.0),
)
"""Lines under the title: a layer, how heavy, how much of the page's width, how far down."""

NUMBER_ROOM = 40.0
"""What the number of a page takes at the end of a row."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What a title page says: empty texts are left out.

    Parameters
    ----------
    title
        What the book is called.
    class_name
        Whose it is.
    date
        As people write it.
    facts
        What is in it, and for whom.
    rights
        Who may copy it.
    """

    title: str
    class_name: str = ""
    date: str = ""
    facts: str = ""
    rights: str = ""


def title_page(cover: Cover, look: BookLook) -> BookPage:
    """Return the title page."""
    return look.page(tuple(_cover_shapes(cover, look)), cover.title)


def _cover_shapes(cover: Cover, look: BookLook) -> Iterator[Shape]:
    width, height = look.size
    inner = look.inner - 24.0
    parts = width / 595.28
    sizes = [size * max(parts, 0.8) for size in TITLE_SIZES]
    size = next((each for each in sizes if len(wrapped(cover.title, each, inner, 9, "bold")) <= 2), sizes[-1])
    lines = wrapped(cover.title, size, inner, 5, "bold")
    y = 0.36 * height - 1.2 * size * len(lines)
    for line in lines:
        y += 1.2 * size
        yield Text(width / 2, y, line, size, TEXT, "middle", "bold", "title")
    y += 0.045 * height
    yield from _near_to_far(y, width)
    y += 0.1 * height
    for text, text_size in (
        (cover.class_name, 20.0 * max(parts, 0.8)),
        (cover.date, 14.0),
        (cover.facts, 11.0),
    ):
        yield from _centred(text, y, text_size, look)
        y += 1.6 * text_size * len(wrapped(text, text_size, inner, 3)) + (8.0 if text else 0.0)
    rights = wrapped(cover.rights, 9.0, inner, 6)
    yield from _centred(cover.rights, height - look.margin - 13.0 * len(rights), 9.0, look, most=6)


def _near_to_far(y: float, width: float) -> Iterator[Shape]:
    """Yield three lines, a layer each: what is near is wide and heavy, what is far short and thin."""
    for layer, weight, part, down in NEAR_TO_FAR:
        half = part * width / 2
        ink = Ink(stroke=LOOKS[layer].colour, width=weight)
        yield Path(((width / 2 - half, y + down), (width / 2 + half, y + down)), ink, name=layer)


def _centred(text: str, y: float, size: float, look: BookLook, most: int = 3) -> Iterator[Text]:
    for index, line in enumerate(wrapped(text, size, look.inner - 24.0, most)):
        yield Text(look.size[0] / 2, y + 1.4 * size * index, line, size, TEXT_SOFT, "middle", name="cover")


# ---- what is in it


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the contents: a song, who made it, and on which page (from 0) each of its sheets begins."""

    title: str
    beside: str
    sheets: tuple[tuple[str, int], ...]


def contents_pages(entries: Sequence[Entry], look: BookLook) -> tuple[BookPage, ...]:
    """Return the contents: as many pages whatever the numbers."""
    return flowed(CONTENTS, [_entry(entry, look) for entry in entries], look)


def _entry(entry: Entry, look: BookLook) -> Piece:
    if len(entry.sheets) == 1:
        return row(entry.title, entry.beside, entry.sheets[0][1], look)
    size = look.text_size
    first = row(entry.title, entry.beside, entry.sheets[0][1], look)
    small, indent = 0.82 * size, 14.0
    shapes: list[Shape] = list(first.shapes)
    links = list(first.links)
    x, y = indent, first.height + 0.9 * small
    for title, page in entry.sheets:
        text = f"{title} {page + 1}"
        room = small * (text_width_em(title) + text_width_em(" 0000"))
        if x > indent and x + room > look.inner:
            x, y = indent, y + 1.5 * small
        shapes.append(Text(x, y, text, small, TEXT_SOFT, name="sheet"))
        links.append(Link(x, y - small, x + room, y + 0.4 * small, page))
        x += room + 10.0
    return Piece(tuple(shapes), y + 1.0 * small, tuple(links))


def row(
    title: str, beside: str, page: int, look: BookLook, *, style: Style = "plain", indent: float = 0.0
) -> Piece:
    """Return a row that leads to a page, with its number at the end, dots between."""
    size = look.text_size
    room = look.inner - NUMBER_ROOM - indent
    text = shortened(title, room / size, style)
    end = indent + size * text_width_em(text, style)
    shapes: list[Shape] = [Text(indent, 1.25 * size, text, size, TEXT, style=style, name="entry")]
    small = 0.8 * size
    left = room + indent - end - 14.0
    if beside and text == title and left > 5 * small:
        more = shortened(beside, left / small)
        shapes.append(Text(end + 8.0, 1.25 * size, more, small, TEXT_SOFT, name="beside"))
        end += 8.0 + small * text_width_em(more)
    stop = look.inner - size * text_width_em("000") - 6.0
    if stop - end > 12.0:
        ink = Ink(stroke=TEXT_SOFT, width=0.8, dash=(0.1, 4.0))
        shapes.append(Path(((end + 6.0, 1.2 * size), (stop, 1.2 * size)), ink, name="leader"))
    shapes.append(Text(look.inner, 1.25 * size, str(page + 1), size, TEXT, "end", name="page"))
    link = Link(indent, 0.15 * size, look.inner, 1.65 * size, page)
    return Piece(tuple(shapes), 1.75 * size, (link,))


# ---- how to read it


def reading_pages(reading: Sequence[str], practising: Sequence[str], look: BookLook) -> tuple[BookPage, ...]:
    """Return what else stands at the foot of each sheet, once for all of them."""
    size = look.text_size
    pieces = [paragraph(line, size, look) for line in reading]
    pieces.append(Piece((), size))
    pieces.append(heading(PRACTISING, 0.75 * look.heading_size, look))
    pieces += [paragraph(line, size, look) for line in practising]
    return flowed(READING, pieces, look)
