"""Flow: pieces of text and pictures laid one below the other on pages, each whole.

Lengths are in points, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tercet.publish.paragraphs import wrapped
from tercet.publish.pdf import WHITE, BookPage, Link
from tercet.publish.picture_files import PAPERS_PT
from tercet.publish.pictures.looks import TEXT
from tercet.publish.score.pages import FOOTER, margin_of
from tercet.publish.shapes import Drawing, Group, Placing, Shape, Style, Text

__all__ = ["BookLook", "Piece", "flowed", "heading", "paragraph"]

LARGER = 1.35
HEADING_SIZE, HEADING_SIZE_NARROW, TEXT_SIZE = 22.0, 18.0, 11.0


@dataclass(frozen=True, slots=True)
class BookLook:
    """How the pages of a book are to be: their paper, larger for eyes farther away, shapes mirrored."""

    paper: str
    large: bool = False
    left_handed: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of a page."""
        return PAPERS_PT[self.paper]

    @property
    def margin(self) -> float:
        """What stays free on all sides."""
        return margin_of(self.size[0])

    @property
    def inner(self) -> float:
        """How wide what stands on a page may be."""
        return self.size[0] - 2 * self.margin

    @property
    def room(self) -> float:
        """How high what stands on a page may be."""
        return self.size[1] - 2 * self.margin - FOOTER

    @property
    def text_size(self) -> float:
        """Of plain text."""
        return TEXT_SIZE * (LARGER if self.large else 1.0)

    @property
    def heading_size(self) -> float:
        """Of what a page begins with."""
        return HEADING_SIZE if self.margin > 30.0 else HEADING_SIZE_NARROW

    def page(self, shapes: Sequence[Shape], title: str, links: Sequence[Link] = ()) -> BookPage:
        """Return a page with some shapes."""
        return BookPage(Drawing(*self.size, tuple(shapes), WHITE, title, ink=TEXT), tuple(links))


@dataclass(frozen=True, slots=True)
class Piece:
    """What stays together on a page, from its own y 0 down to `height`; with `leads` the next piece, too."""

    shapes: tuple[Shape, ...]
    height: float
    links: tuple[Link, ...] = ()
    leads: bool = False


def flowed(title: str, pieces: Sequence[Piece], look: BookLook) -> tuple[BookPage, ...]:
    """Return pages with a heading on the first, and pieces below each other."""
    pages: list[list[tuple[Piece, float]]] = [[]]
    first = heading(title, look.heading_size, look)
    used = 0.0
    for index, piece in enumerate((first, *pieces)):
        height, after = piece.height, index
        following = (first, *pieces)
        while following[after].leads and after + 1 < len(following):
            after += 1
            height += following[after].height
        if used + height > look.room and pages[-1]:
            pages.append([])
            used = 0.0
        pages[-1].append((piece, used))
        used += piece.height
    return tuple(_page(title, placed, look) for placed in pages)


def _page(title: str, placed: Sequence[tuple[Piece, float]], look: BookLook) -> BookPage:
    margin = look.margin
    shapes = [Group(piece.shapes, placing=Placing(margin, margin + y, 1.0)) for piece, y in placed]
    links = [
        replace(
            link,
            left=link.left + margin,
            right=link.right + margin,
            top=link.top + margin + y,
            bottom=link.bottom + margin + y,
        )
        for piece, y in placed
        for link in piece.links
    ]
    return look.page(shapes, title, links)


def heading(text: str, size: float, look: BookLook) -> Piece:
    """Return a heading, which leads what comes after it."""
    shapes = []
    y = 0.0
    for line in wrapped(text, size, look.inner, 2, "bold"):
        y += 1.15 * size
        shapes.append(Text(0.0, y, line, size, TEXT, style="bold", name="heading"))
    return Piece(tuple(shapes), y + 0.7 * size, leads=True)


def paragraph(text: str, size: float, look: BookLook, colour: str = TEXT, style: Style = "plain") -> Piece:
    """Return a paragraph as wide as the page."""
    shapes = []
    y = 0.0
    for line in wrapped(text, size, look.inner, 40, style):
        y += 1.4 * size
        shapes.append(Text(0.0, y, line, size, colour, style=style, name="paragraph"))
    return Piece(tuple(shapes), y + 0.45 * size)
