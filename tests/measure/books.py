"""What a book of pages says and where it leads, read from its PDF alone with pypdf."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from typing import Any

from pypdf import PdfReader

__all__ = ["Half", "Leads", "Mark", "bookmarks", "halves", "links"]

FOOT_PT = 40.0
"""What stands so near to the lower edge is the line at a page's foot."""


@dataclass(frozen=True, slots=True)
class Half:
    """A page of a book, or the half of a side of paper on which it lies: its texts, and the number at its foot."""

    texts: tuple[str, ...]
    number: int | None

    @property
    def said(self) -> str:
        """All its texts in a row."""
        return " ".join(self.texts)


@dataclass(frozen=True, slots=True)
class Mark:
    """A bookmark: how deep it stands, its title, and the page or half to which it leads, counted from 0."""

    level: int
    title: str
    page: int


@dataclass(frozen=True, slots=True)
class Leads:
    """A link: the page or half on which it lies, what stands within its box, and where it leads."""

    page: int
    said: str
    to_page: int


@lru_cache(maxsize=8)
def halves(pdf: bytes, columns: int = 1) -> tuple[Half, ...]:
    """Return the pages of a book, side of paper by side of paper, each with so many beside each other."""
    found = []
    for wide, texts in _placed(pdf):
        width = wide / columns
        for column in range(columns):
            here = [text for text in texts if column * width <= text[1] < (column + 1) * width]
            foot = [text for text, _, y in here if y < FOOT_PT and text.isdecimal()]
            found.append(Half(tuple(text for text, _, _ in here), int(foot[-1]) if foot else None))
    return tuple(found)


@lru_cache(maxsize=8)
def bookmarks(pdf: bytes, columns: int = 1) -> tuple[Mark, ...]:
    """Return the bookmarks of a book in order."""
    reader = PdfReader(BytesIO(pdf))

    def under(entries: list[Any], level: int) -> list[Mark]:
        marks = []
        for entry in entries:
            if isinstance(entry, list):
                marks += under(entry, level + 1)
            else:
                page = reader.get_destination_page_number(entry)
                assert page is not None
                box = [entry.get(f"/{edge}") for edge in ("Left", "Bottom", "Right", "Top")]
                marks.append(Mark(level, str(entry.title), _half(reader, page, box, columns)))
        return marks

    return tuple(under(list(reader.outline), 0))


@lru_cache(maxsize=8)
def links(pdf: bytes, columns: int = 1) -> tuple[Leads, ...]:
    """Return the links of a book, page by page from the top."""
    reader = PdfReader(BytesIO(pdf))
    found = []
    for number, page in enumerate(reader.pages):
        width = float(page.mediabox.width) / columns
        texts = _placed(pdf)[number][1]
        boxes = []
        for annotation in page.get("/Annots", []):
            link = annotation.get_object()
            assert link["/Subtype"] == "/Link"
            left, low, right, high = map(float, link["/Rect"])
            said = " ".join(
                text for text, x, y in texts if left - 0.5 <= x <= right + 0.5 and low <= y <= high
            )
            page_of, _, *box = link["/Dest"]
            to_page = reader.get_page_number(page_of.get_object())
            assert to_page is not None
            here = number * columns + int(left // width)
            boxes.append((-high, left, Leads(here, said, _half(reader, to_page, box, columns))))
        found += [lead for *_, lead in sorted(boxes, key=lambda box: box[:2])]
    return tuple(found)


def _half(reader: PdfReader, page: int, box: list[Any], columns: int) -> int:
    """Return which page of the book a destination shows; its box is left, lower, right, upper edge."""
    if columns == 1:
        return page
    left, right = float(box[0]), float(box[2])
    width = float(reader.pages[page].mediabox.width) / columns
    assert abs(right - left - width) < 0.5
    return page * columns + round(left / width)


@lru_cache(maxsize=8)
def _placed(pdf: bytes) -> tuple[tuple[float, tuple[tuple[str, float, float], ...]], ...]:
    """Return of each page its width, and its texts with their places, y up."""
    pages = []
    for page in PdfReader(BytesIO(pdf)).pages:
        placed: list[tuple[str, float, float]] = []

        def seen(
            text: str,
            ctm: list[float],
            matrix: list[float],
            *_: Any,
            placed: list[tuple[str, float, float]] = placed,
        ) -> None:
            x, y = matrix[4], matrix[5]
            for part in text.split("\n"):
                if part.strip():
                    where = ctm[0] * x + ctm[2] * y + ctm[4], ctm[1] * x + ctm[3] * y + ctm[5]
                    placed.append((part.strip(), *where))

        page.extract_text(visitor_text=seen)
        pages.append((float(page.mediabox.width), tuple(placed)))
    return tuple(pages)
