"""What a PDF holds, read with pypdf."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from pypdf import PdfReader

__all__ = ["fonts_of", "loose_fonts", "pages_text", "sizes_pt", "words_placed"]


def pages_text(pdf: bytes) -> list[str]:
    """Return the text of each page."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def sizes_pt(pdf: bytes) -> list[tuple[float, float]]:
    """Return the width and height of each page in points."""
    boxes = [page.mediabox for page in PdfReader(BytesIO(pdf)).pages]
    return [(round(float(box.width), 2), round(float(box.height), 2)) for box in boxes]


def fonts_of(pdf: bytes) -> dict[str, bool]:
    """Return the fonts of all pages by family and cut, and whether each is embedded."""
    found: dict[str, bool] = {}
    for page in PdfReader(BytesIO(pdf)).pages:
        resources: Any = page["/Resources"]
        for font in resources.get("/Font", {}).values():
            described = font.get_object().get("/FontDescriptor", {})
            name = "-".join(str(font.get_object()["/BaseFont"]).rpartition("+")[2].lstrip("/").split("-")[:2])
            found[name] = any(key.startswith("/FontFile") for key in described)
    return found


def loose_fonts(pdf: bytes) -> list[str]:
    """Return the fonts that a reader must bring itself."""
    return [name for name, embedded in fonts_of(pdf).items() if not embedded]


def words_placed(pdf: bytes, page: int = 0) -> list[tuple[str, float, float]]:
    """Return the texts of a page with their places (x to the right, y up, in points), as they are drawn."""
    placed: list[tuple[str, float, float]] = []

    def seen(text: str, ctm: list[float], matrix: list[float], *_: Any) -> None:
        if text.strip():
            x, y = matrix[4], matrix[5]
            placed.append((text.strip(), ctm[0] * x + ctm[2] * y + ctm[4], ctm[1] * x + ctm[3] * y + ctm[5]))

    PdfReader(BytesIO(pdf)).pages[page].extract_text(visitor_text=seen)
    return placed
