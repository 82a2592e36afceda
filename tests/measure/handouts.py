"""What a handout says, read from its SVG by where digits, arrows and words lie against the lines of the strings."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

from tests.measure.text_boxes import TextBox, text_boxes

__all__ = ["Struck", "rows_of", "smallest_digit", "strokes_of", "verses_of"]

SVG = "{http://www.w3.org/2000/svg}"
DIGIT_EM = 0.714
"""Height of a digit of the font, in ems."""


@dataclass(frozen=True, slots=True)
class Struck:
    """A stroke as read: its layer and action, (string, fret) pairs from the top, and the strings that its arrow spans.

    `arrow` goes from its tail to its head, string 1 on top; empty without one. Strums have no digits.
    """

    layer: str
    action: str
    frets: tuple[tuple[int, int], ...]
    arrow: tuple[int, ...]
    large: frozenset[int]


def strokes_of(svg: str) -> list[Struck]:
    """Return the strokes of a picture row by row, from left to right."""
    rows = rows_of(svg)
    found = []
    for group in ET.fromstring(svg).iter(f"{SVG}g"):
        kind = group.get("class", "")
        if not kind.startswith("stroke "):
            continue
        _, layer, action = kind.split()
        boxes = [box for box in text_boxes(_alone(group)) if box.name == "fret"]
        lines = [
            _points(line)
            for line in group.iter(f"{SVG}polyline")
            if line.get("class") in ("roll", "strum", "chop")
        ]
        middle = 0.5 * (lines[0][0][1] + lines[0][1][1]) if lines else _middle(boxes[0])
        row = min(range(len(rows)), key=lambda place: abs(sum(rows[place]) / 4 - middle))
        strings = [_string(_middle(box), rows[row]) for box in boxes]
        assert all(
            abs(_middle(box) - rows[row][string - 1]) < 3 for box, string in zip(boxes, strings, strict=True)
        )
        frets = tuple(sorted((string, int(box.text)) for box, string in zip(boxes, strings, strict=True)))
        largest = max((box.size for box in boxes), default=0.0)
        smallest = min((box.size for box in boxes), default=0.0)
        large = {string for box, string in zip(boxes, strings, strict=True) if box.size == largest > smallest}
        x = lines[0][0][0] if lines else boxes[0].left
        arrow = _spanned(lines[0], rows[row]) if lines and action != "chop" else ()
        found.append((row, x, Struck(layer, action, frets, arrow, frozenset(large))))
    return [stroke for *_, stroke in sorted(found, key=lambda item: item[:2])]


def verses_of(svg: str) -> list[list[str]]:
    """Return the words of a picture, one list for the first verse under each row, one for the second, and so on."""
    rows = rows_of(svg)
    verses: dict[int, list[tuple[int, float, str]]] = {}
    for box, y in zip(*_words(svg), strict=True):
        row = max(place for place in range(len(rows)) if rows[place][0] < y)
        verse = round((y - rows[row][3]) / 40.0 - 1.2)
        verses.setdefault(verse, []).append((row, box.left, box.text))
    return [[text for *_, text in sorted(verses[verse])] for verse in sorted(verses)]


def smallest_digit(svg: str) -> float:
    """Return how high the smallest digit is, of all texts."""
    return min(DIGIT_EM * box.size for box in text_boxes(svg) if any(sign.isdigit() for sign in box.text))


def _words(svg: str) -> tuple[list[TextBox], list[float]]:
    boxes = [box for box in text_boxes(svg) if box.name == "word"]
    lines = [
        float(text.get("y", ""))
        for text in ET.fromstring(svg).iter(f"{SVG}text")
        if text.get("class") == "word" and (text.text or "").strip()
    ]
    return boxes, lines


def rows_of(svg: str) -> list[list[float]]:
    """Return the heights of the four strings of each row, string 1 first."""
    lines = [
        _points(line)[0][1]
        for line in ET.fromstring(svg).iter(f"{SVG}polyline")
        if line.get("class") == "string line" and float(line.get("stroke-width", "")) == 2.0
    ]
    assert len(lines) % 4 == 0
    return [sorted(lines[place : place + 4]) for place in range(0, len(lines), 4)]


def _spanned(line: list[tuple[float, float]], strings: list[float]) -> tuple[int, ...]:
    """Return the strings between an arrow's ends, from its tail to its head."""
    (_, start), (_, end) = line
    low, high = sorted((start, end))
    covered = [string for string, y in enumerate(strings, 1) if low <= y <= high]
    return tuple(covered if end > start else covered[::-1])


def _string(y: float, strings: list[float]) -> int:
    return 1 + min(range(4), key=lambda place: abs(strings[place] - y))


def _middle(box: TextBox) -> float:
    return 0.5 * (box.top + box.bottom)


def _alone(group: ET.Element) -> str:
    svg = ET.Element(f"{SVG}svg")
    svg.append(group)
    return ET.tostring(svg, encoding="unicode")


def _points(line: ET.Element) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in line.get("points", "").split())
    return [(float(x), float(y)) for x, y in pairs]
