"""What a PDF holds, read with pypdf."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ContentStream

__all__ = ["Painted", "fonts_of", "loose_fonts", "pages_text", "painted", "sizes_pt", "words_placed"]


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


@dataclass(frozen=True, slots=True)
class Painted:
    """An area or a line as it is painted: its colour from 0 to 1, and the box of its points, y up, in points.

    `width` is the line's, also in points; 0 for an area.
    """

    colour: tuple[float, ...]
    box: tuple[float, float, float, float]
    width: float


def painted(pdf: bytes, page: int = 0) -> list[Painted]:
    """Return the areas and lines of a page in the order in which they are painted, forms looked into."""
    reader = PdfReader(BytesIO(pdf))
    reading = _Reading()
    reading.run(reader.pages[page].get_contents(), reader.pages[page]["/Resources"], reader)
    return reading.found


class _Reading:
    """What a page's program has set so far: matrix, colours, width and path (PDF 32000-1, table 51)."""

    def __init__(self) -> None:
        self.found: list[Painted] = []
        self._state: dict[str, Any] = {"ctm": (1, 0, 0, 1, 0, 0), "rg": (0.0,), "RG": (0.0,), "w": 1.0}
        self._kept: list[dict[str, Any]] = []
        self._points: list[tuple[float, float]] = []

    def run(self, content: Any, resources: Any, reader: PdfReader) -> None:
        for operands, operator in ContentStream(content, reader).operations:
            numbers = tuple(float(each) for each in operands if isinstance(each, (int, float)))
            match operator.decode():
                case "q":
                    self._kept.append(dict(self._state))
                case "Q":
                    self._state = self._kept.pop()
                case "cm":
                    self._state["ctm"] = _times(numbers, self._state["ctm"])
                case "rg" | "RG" as key:
                    self._state[key] = numbers
                case "w":
                    self._state["w"] = numbers[0]
                case "m" | "l" | "c":
                    self._points += zip(numbers[::2], numbers[1::2], strict=True)
                case "re":
                    x, y, width, height = numbers
                    self._points += [(x, y), (x + width, y + height)]
                case "f" | "f*" | "B" | "B*" | "S" | "s" | "b" | "n" as how:
                    self._paint(how)
                case "Do":
                    form = resources["/XObject"][operands[0]].get_object()
                    self._kept.append(dict(self._state))
                    self.run(form, form["/Resources"], reader)
                    self._state = self._kept.pop()

    def _paint(self, how: str) -> None:
        ctm = self._state["ctm"]
        places = [_times((1, 0, 0, 1, *point), ctm)[4:] for point in self._points]
        xs, ys = [x for x, _ in places], [y for _, y in places]
        box = (min(xs), min(ys), max(xs), max(ys)) if places else (0.0, 0.0, 0.0, 0.0)
        if how[0] in "fBb":
            self.found.append(Painted(self._state["rg"], box, 0.0))
        if how[0] in "SsBb":
            scale = abs(ctm[0] * ctm[3] - ctm[1] * ctm[2]) ** 0.5
            self.found.append(Painted(self._state["RG"], box, scale * self._state["w"]))
        self._points = []


def _times(one: tuple[float, ...], other: tuple[float, ...]) -> tuple[float, ...]:
    """Return two transformations, one after the other."""
    a, b, c, d, e, f = one
    g, h, i, j, k, m = other
    return (
        a * g + b * i,
        a * h + b * j,
        c * g + d * i,
        c * h + d * j,
        e * g + f * i + k,
        e * h + f * j + m,
    )
