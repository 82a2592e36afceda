"""What a chord diagram shows, read from its SVG by where its marks lie, not by what they are called."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

__all__ = ["Seen", "diagrams_of", "seen"]

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True, slots=True)
class Seen:
    """A diagram as a reader sees it, strings from left to right.

    `frets` counts from the nut with the position added, None for a damped string; `fingers` are the numbers on the
    marks; `barred` says how many strings the barre covers; `largest` are the columns of the largest marks.
    """

    name: str
    frets: tuple[int | None, ...]
    fingers: tuple[str, ...]
    barred: int
    largest: tuple[int, ...]


def diagrams_of(svg: str) -> list[ET.Element]:
    """Return the groups of all diagrams of a picture."""
    return [group for group in ET.fromstring(svg).iter(f"{SVG}g") if _class(group) == "chord diagram"]


def seen(diagram: ET.Element) -> Seen:
    """Return what a diagram shows."""
    lines = [_points(line) for line in diagram.iter(f"{SVG}polyline") if "line" in _class(line)]
    nuts = [_points(line) for line in diagram.iter(f"{SVG}polyline") if _class(line) == "nut"]
    strings = sorted(line[0][0] for line in lines if line[0][0] == line[1][0])
    fret_lines = sorted(line[0][1] for line in (*lines, *nuts) if line[0][1] == line[1][1])
    assert len(strings) == 4
    position = next((int(text) for name, text, _ in _texts(diagram) if name == "position"), 1)
    frets: list[int | None] = [None] * 4
    sizes = [0.0] * 4
    for disc in diagram.iter(f"{SVG}circle"):
        column = _nearest(strings, float(disc.get("cx", "")))
        y = float(disc.get("cy", ""))
        above = sum(line < y for line in fret_lines)
        assert frets[column] is None, "one mark a string"
        frets[column] = above + position - 1 if above else 0
        sizes[column] = float(disc.get("r", "")) if above else 0.0
    fingers = [""] * 4
    for name, text, x in _texts(diagram):
        if name.startswith("number"):
            fingers[_nearest(strings, x)] = text
    barre = [_points(line) for line in diagram.iter(f"{SVG}polyline") if _class(line) == "barre"]
    covered = [x for x in strings if barre and _within(x, barre[0])]
    name = next((text for kind, text, _ in _texts(diagram) if kind == "chord name"), "")
    largest = tuple(column for column in range(4) if sizes[column] and sizes[column] == max(sizes))
    return Seen(name, tuple(frets), tuple(fingers), len(covered), largest)


def _within(x: float, line: list[tuple[float, float]]) -> bool:
    ends = sorted(point[0] for point in line)
    return ends[0] - 0.01 <= x <= ends[-1] + 0.01


def _texts(diagram: ET.Element) -> list[tuple[str, str, float]]:
    return [(_class(text), text.text or "", float(text.get("x", ""))) for text in diagram.iter(f"{SVG}text")]


def _points(line: ET.Element) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in line.get("points", "").split())
    return [(float(x), float(y)) for x, y in pairs]


def _nearest(strings: list[float], x: float) -> int:
    return min(range(4), key=lambda column: abs(strings[column] - x))


def _class(element: ET.Element) -> str:
    return element.get("class", "")
