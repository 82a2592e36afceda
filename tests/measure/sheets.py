"""What a sheet says, read from its files alone: SVG by the places of things, PDF with pypdf."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from io import BytesIO
from typing import Any
from xml.etree import ElementTree as ET

from pypdf import PdfReader

from tests.measure.text_boxes import TextBox, overlapping, text_boxes

__all__ = [
    "Arrow",
    "Column",
    "TabBar",
    "bars_by_page",
    "bars_in_pdf",
    "bars_shown",
    "flat",
    "overlaps",
    "swing_told",
    "tab_bars",
    "texts",
    "texts_in_pdf",
    "words_by_bar",
]

SVG = "{http://www.w3.org/2000/svg}"
HREF = "href"
MOVED = re.compile(r"translate\(([-\d.]+)[ ,]+([-\d.]+)\)")
SCALED = re.compile(r"scale\(([-\d.]+)")
RATIO = re.compile(r"\((\d+) : (\d+)\)")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Arrow:
    """An arrow of a roll: its place across, and its lower and upper end."""

    x: float
    foot: float
    head: float


@dataclass(frozen=True, slots=True)
class Column:
    """Digits above each other: place across, and frets by string, each with the size of its digit."""

    x: float
    frets: dict[int, int]
    sizes: dict[int, float]


@dataclass(frozen=True, slots=True)
class TabBar:
    """The tab of a printed bar: the lines from string 1 to string 4, its columns and its arrows, from the left."""

    name: str
    lines: tuple[float, ...]
    columns: tuple[Column, ...]
    arrows: tuple[Arrow, ...]

    def spanned(self, arrow: Arrow) -> tuple[set[int], set[int]]:
        """Return the strings that an arrow spans, and those of the column to its right that belong to the tune."""
        gap = self.lines[1] - self.lines[0]
        spans = {
            string
            for string, y in enumerate(self.lines, 1)
            if arrow.head - 0.5 * gap <= y <= arrow.foot + 0.35 * gap
        }
        column = next(column for column in self.columns if column.x > arrow.x)
        return spans, set(column.frets)


def texts(svg: str, kind: str) -> list[str]:
    """Return the texts of a class, in order."""
    return [
        element.text or ""
        for element in ET.fromstring(svg).iter(f"{SVG}text")
        if element.get("class") == kind
    ]


def bars_shown(svg: str) -> list[int]:
    """Return all numbers of bars on a page, in order."""
    return [int(number) for text in texts(svg, "bar-number") for number in NUMBER.findall(text)]


def words_by_bar(svg: str) -> list[tuple[tuple[int, ...], tuple[str, ...]]]:
    """Return for each printed bar the numbers under it, none under a pick-up, and the words under its notes."""
    found = []
    for measure in ET.fromstring(svg).iter(f"{SVG}g"):
        if _class(measure, "measure"):
            said: dict[str, list[str]] = defaultdict(list)
            for text in measure.iter(f"{SVG}text"):
                said[text.get("class", "")].append(text.text or "")
            numbers = [int(number) for text in said["bar-number"] for number in NUMBER.findall(text)]
            found.append((tuple(numbers), tuple(said["word"])))
    return found


def swing_told(said: Iterable[str]) -> Fraction | None:
    """Return where the second half of a pulse falls by the ratio among texts, or None where there is no ratio."""
    for text in said:
        if ratio := RATIO.search(text):
            return Fraction(int(ratio[1]), int(ratio[1]) + int(ratio[2]))
    return None


def texts_in_pdf(pdf: bytes) -> list[str]:
    """Return the texts of a PDF, each as it is set."""
    found: list[str] = []
    for page in PdfReader(BytesIO(pdf)).pages:

        def seen(text: str, *_: Any) -> None:
            found.extend(part.strip() for part in text.split("\n") if part.strip())

        page.extract_text(visitor_text=seen)
    return found


def bars_in_pdf(pdf: bytes) -> list[int]:
    """Return the numbers of bars of a PDF: what stands in a row that begins with ``bar``."""
    return [number for page in bars_by_page(pdf) for number in page]


@lru_cache(maxsize=8)
def bars_by_page(pdf: bytes, columns: int = 1) -> tuple[tuple[int, ...], ...]:
    """Return the numbers of bars of each page of a PDF, or of each of the equally wide columns of its pages."""
    found: list[tuple[int, ...]] = []
    for page in PdfReader(BytesIO(pdf)).pages:
        width = float(page.mediabox.width) / columns
        rows: dict[tuple[int, float], list[tuple[float, str]]] = defaultdict(list)

        def seen(
            text: str,
            ctm: list[float],
            matrix: list[float],
            *_: Any,
            rows: dict[tuple[int, float], list[tuple[float, str]]] = rows,
            width: float = width,
        ) -> None:
            x, y = matrix[4], matrix[5]
            place = ctm[0] * x + ctm[2] * y + ctm[4], ctm[1] * x + ctm[3] * y + ctm[5]
            for part in text.split("\n"):
                if part.strip():
                    rows[int(place[0] // width), -round(place[1])].append((place[0], part.strip()))

        page.extract_text(visitor_text=seen)
        shown: list[list[int]] = [[] for _ in range(columns)]
        for (column, _), row in sorted(rows.items()):
            words = [text for _, text in sorted(row)]
            if words[0] == "bar":
                shown[column] += [int(number) for text in words[1:] for number in NUMBER.findall(text)]
        found += map(tuple, shown)
    return tuple(found)


# ---- text


def flat(svg: str) -> str:
    """Return a page's texts alone, each at its place on the page, as an SVG without groups."""
    root = ET.fromstring(svg)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{root.get("width")}" height="{root.get("height")}">'
    ]
    for element, x0, y0, scale in _placed(root, 0.0, 0.0, 1.0):
        if element.tag != f"{SVG}text":
            continue
        made = ET.Element("text", {key: value for key, value in element.attrib.items() if key != "transform"})
        made.set("x", str(x0 + scale * float(element.get("x", "0"))))
        made.set("y", str(y0 + scale * float(element.get("y", "0"))))
        made.set("font-size", str(scale * float(element.get("font-size", "16"))))
        made.text = element.text
        lines.append(ET.tostring(made, encoding="unicode"))
    return "".join([*lines, "</svg>"])


def overlaps(svg: str, slack: float = 0.4) -> list[tuple[TextBox, TextBox]]:
    """Return the pairs of texts of a page whose ink runs into each other by more than some points."""
    return overlapping(text_boxes(flat(svg)), slack)


def _placed(
    element: ET.Element, x: float, y: float, scale: float
) -> Iterator[tuple[ET.Element, float, float, float]]:
    """Yield all elements with the place of their origin and their scale."""
    transform = element.get("transform", "")
    if "rotate" not in transform:
        moved, scaled = MOVED.search(transform), SCALED.search(transform)
        if moved:
            x, y = x + scale * float(moved[1]), y + scale * float(moved[2])
        if scaled:
            scale *= float(scaled[1])
    yield element, x, y, scale
    for child in element:
        yield from _placed(child, x, y, scale)


# ---- tab


def tab_bars(svg: str) -> list[TabBar]:
    """Return the tab of each printed bar, in order."""
    root = ET.fromstring(svg)
    widths = {
        path.get("id", ""): max(float(number) for number in NUMBER.findall(path.get("d", "")))
        for path in root.iter(f"{SVG}path")
        if path.get("id", "").startswith("sign-")
    }
    return [_tab_bar(group, widths) for group in root.iter(f"{SVG}g") if _class(group, "measure")]


def _tab_bar(measure: ET.Element, widths: dict[str, float]) -> TabBar:
    tab = next(staff for staff in measure if _class(staff, "staff") and len(_line_places(staff)) == 4)
    lines = tuple(sorted(_line_places(tab)))
    columns: dict[float, Column] = {}
    for text in tab.iter(f"{SVG}text"):
        if text.get("class") != "digit":
            continue
        x, y, size = (float(text.get(name, "0")) for name in ("x", "y", "font-size"))
        middle = y - 0.357 * size
        string = min(range(1, 5), key=lambda line: abs(lines[line - 1] - middle))
        column = columns.setdefault(x, Column(x, {}, {}))
        assert string not in column.frets, "two digits on one string"
        column.frets[string], column.sizes[string] = int(text.text or ""), size
    arrows = [_arrow(group, widths) for group in measure.iter(f"{SVG}g") if _class(group, "arpeg")]
    return TabBar(
        measure.get("id", ""),
        lines,
        tuple(columns[x] for x in sorted(columns)),
        tuple(sorted(arrows, key=lambda arrow: arrow.x)),
    )


def _line_places(staff: ET.Element) -> set[float]:
    """Return where the lines of a staff lie."""
    places = set()
    for path in staff.findall(f"{SVG}path"):
        x0, y0, x1, y1 = map(float, NUMBER.findall(path.get("d", "")))
        if y0 == y1 and x1 > x0:
            places.add(y0)
    return places


def _arrow(group: ET.Element, widths: dict[str, float]) -> Arrow:
    """Return an arrow: signs in a row, turned upright round their first one's place."""
    turn = [float(number) for number in NUMBER.findall(group.get("transform", ""))]
    assert turn[0] == -90, "an arrow points up the page"
    last = group.findall(f"{SVG}use")[-1]
    moved, scaled = MOVED.search(last.get("transform", "")), SCALED.search(last.get("transform", ""))
    assert moved
    assert scaled
    width = widths[(last.get(HREF) or "").lstrip("#")] * float(scaled[1])
    length = float(moved[1]) + width - turn[1]
    return Arrow(turn[1], turn[2], turn[2] - length)


def _class(element: ET.Element, name: str) -> bool:
    return name in element.get("class", "").split()
