"""From the engraver's SVG to our shapes: real text in the place of stand-ins, digits as near as their layer.

The engraver writes few kinds of element, and ids of our own making; whatever else it writes is left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from io import StringIO
from sys import intern
from xml.etree.ElementTree import Element, iterparse

from tercet.publish.pictures.looks import LOOKS, toned
from tercet.publish.score.elements import ScoreText, TextKind, score_text
from tercet.publish.shapes import Anchor, Group, Outline, Shape, Sign, Style, Text
from tercet.publish.typefaces import text_width_em
from tercet.song import LAYERS

__all__ = ["DrawnSystem", "measure_edges", "read_drawing"]

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_SKIPPED = ("mNum", "placeholder", "pageMilestone", "systemMilestoneEnd", "pageMilestoneEnd", "space")
_OURS = re.compile(
    r"p\d+s\d+|m\d+(t\d+(x\d+)?(v\d+)?|c\d+(s[1-4]|r)?|k\d*([dnf]|v\d+)?|[hw]\d+|name|number|times|then)?"
)
"""Names that we gave; the engraver's own are left out."""

_ANCHOR = re.compile(r"m\d+k\d*")
"""Of the unseen notes that hold the texts of the strip: nothing but the texts is drawn."""

_PLACED = re.compile(r"translate\(([-\d.]+), ?([-\d.]+)\) scale\(([-\d.]+)")
_TURNED = re.compile(r"rotate\(([-\d.]+) ([-\d.]+), ?([-\d.]+)\)")
_FRAME_WIDTH = 20.0
_ANCHORS: dict[str, Anchor] = {"middle": "middle", "end": "end"}

CLASSES = frozenset({
    "measure", "staff", "layer", "note", "tabGrp", "arpeg", "chord", "beam", "tuplet", "rest", "mRest", "syl", "verse",
    "harm", "dynam", "hairpin", "reh", "dir", "mNum", "fermata", "breath", "barLine", "clef", "keySig", "meterSig",
    "tie", "stem", "notehead", "accid", "artic", "flag", "dots", "ledgerLines", "tupletNum", "tupletBracket",
    "voltaBracket", "grpSym", "melody", "second", "between", "strums", "struck", "under",
})  # fmt: skip
"""Classes that are kept, for style sheets and scripts."""

NEARNESS: dict[tuple[str, str], tuple[float, Style]] = {
    ("melody", "struck"): (1.3, "bold"),
    ("melody", "under"): (1.0, "plain"),
    ("second", "struck"): (1.2, "bold"),
    ("between", "struck"): (1.05, "plain"),
    ("between", "under"): (0.85, "plain"),
    ("strums", "struck"): (0.8, "plain"),
}
"""How large and heavy a digit of the tab is, by its layer and whether it is what the stroke is for."""

FAR_INK = 0.72
"""Ink of the digits of strums, which are far."""

COLOURS: dict[str, str] = {
    **{layer: LOOKS[layer].colour for layer in LAYERS},
    "strums": toned(LOOKS["strums"].colour, FAR_INK),
}
"""Colours of digits and arrows by layer."""

DIGIT_HEIGHT = 0.714
"""Height of digits in ems (Noto Sans: cap height 714 of 1000), to centre them on their line."""


@dataclass(frozen=True, slots=True)
class DrawnSystem:
    """A line of music as drawn, in the coordinates of the engraver's page."""

    shapes: tuple[Shape, ...]
    bars: tuple[str, ...]


def read_drawing(svg: str, texts: Mapping[str, ScoreText]) -> tuple[tuple[DrawnSystem, ...], dict[str, str]]:
    """Return the lines of music of one page of the engraver's, and the outlines of its signs by name."""
    signs: dict[str, str] = {}
    reader = _Reader(texts)
    systems = []
    for element in _elements(svg):
        if element.tag == f"{_SVG}defs":
            signs |= {
                _sign_name(f"#{group.get('id', '')}"): path.get("d", "")
                for group in element
                for path in group.iter(f"{_SVG}path")
            }
        elif _is_a("system", element):
            bars = tuple(child.get("id", "") for child in element.iter(f"{_SVG}g") if _is_a("measure", child))
            systems.append(DrawnSystem(tuple(reader.shapes(element)), bars))
            element.clear()
    return tuple(systems), signs


def measure_edges(svg: str) -> list[tuple[float, float]]:
    """Return where each bar of a drawing begins and ends: its staff lines."""
    edges = []
    for element in _elements(svg):
        if not _is_a("measure", element):
            continue
        staff = next(child for child in element if _is_a("staff", child))
        lines = " ".join(path.get("d", "") for path in staff.findall(f"{_SVG}path"))
        xs = [float(x) for x in lines.replace("M", "").replace("L", "").split()[::2]]
        edges.append((min(xs), max(xs)))
        element.clear()
    return edges


def _elements(svg: str) -> Iterator[Element]:
    """Yield elements of the engraver's own, which holds no text of the song, as each of them ends.

    Whoever has read one clears it, so that a long piece is never in memory as a whole.
    """
    for _, element in iterparse(StringIO(svg)):  # noqa: S314
        yield element


def _is_a(what: str, element: Element) -> bool:
    return element.tag == f"{_SVG}g" and what in element.get("class", "").split()


def _sign_name(reference: str) -> str:
    """Return the name of a sign without what the engraver adds to it for each drawing."""
    return intern(reference.lstrip("#").partition("-")[0])


@lru_cache(maxsize=4096)
def _number(text: str) -> float:
    """Return a number; most of them come many times, and are kept once."""
    return float(text)


@lru_cache(maxsize=1024)
def _kept_classes(text: str) -> str:
    return " ".join(word for word in text.split() if word in CLASSES)


class _Reader:
    """Reads elements into shapes."""

    def __init__(self, texts: Mapping[str, ScoreText]) -> None:
        self._texts = texts

    def shapes(self, element: Element) -> Iterator[Shape]:
        """Yield what is within an element."""
        for child in element:
            yield from self._shape(child, element)

    def _shape(self, element: Element, parent: Element) -> Iterator[Shape]:
        match element.tag.removeprefix(_SVG):
            case "g":
                yield from self._group(element)
            case "use":
                placed = _PLACED.search(element.get("transform", ""))
                if placed:
                    x, y, scale = map(_number, placed.groups())
                    yield Sign(_sign_name(element.get(_HREF, "")), x, y, scale)
            case "path":
                path, width = element.get("d", ""), _number(element.get("stroke-width", "0"))
                yield Outline(path, width, filled="C" in path)
            case "polygon" | "polyline" as tag:
                yield _polygon(element, closed=tag == "polygon")
            case "rect":
                yield _box(element)
            case "ellipse":
                yield _dot(element)
            case "text":
                yield from self._text(element, parent)

    def _group(self, element: Element) -> Iterator[Shape]:
        classes = element.get("class", "").split()
        hidden = element.get("visibility") == "hidden"
        if hidden or any(word in _SKIPPED for word in classes):
            return
        name = element.get("id", "")
        own = name if _OURS.fullmatch(name) else ""
        turned = _TURNED.search(element.get("transform", ""))
        shapes = tuple(self.shapes(element))
        if _ANCHOR.fullmatch(name):
            shapes = tuple(each for each in shapes if isinstance(each, Group) and "verse" in each.names)
        if not shapes and not own:
            return
        kept = _kept_classes(element.get("class", ""))
        colour = next((COLOURS[word] for word in kept.split() if word in COLOURS), "")
        angle = (float(turned[1]), float(turned[2]), float(turned[3])) if turned else None
        yield Group(shapes, kept, id=own, colour=colour, turned=angle)

    def _text(self, element: Element, parent: Element) -> Iterator[Text]:
        """Yield a text: the song's, for a stand-in; a digit of the tab; or what the engraver wrote itself."""
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        size = max(float(span.get("font-size", "0").removesuffix("px")) for span in element.iter())
        anchor = _ANCHORS.get(element.get("text-anchor", ""), "start")
        text = self._texts.get(parent.get("id", ""))
        if text is not None and text.kind != "sign":
            yield score_text(text.kind, x, y, size, text.text, text.style, anchor)
            return
        written = "".join(element.itertext()).strip()
        classes = parent.get("class", "").split()
        for (layer, part), (scale, style) in NEARNESS.items():
            if layer in classes and part in classes:
                baseline = y - size * 0.34 + size * scale * DIGIT_HEIGHT / 2
                if text is not None:
                    yield _signed(score_text("sign", x, baseline, size * scale, text.text, style), text)
                if text is None or text.label:
                    yield score_text("digit", x, baseline, size * scale, written, style, "middle")
                return
        if written:
            kind: TextKind = "ending" if "voltaBracket" in classes else "remark"
            yield score_text(kind, x, y, size, written, "bold", anchor)


def _signed(sign: Text, text: ScoreText) -> Text:
    """Return the sign of a note behind its digit, which stays where it is; or on its own in the digit's place."""
    if text.label:
        return replace(sign, x=sign.x + 0.5 * sign.size * text_width_em(text.label, sign.style))
    return replace(sign, anchor="middle")


def _polygon(element: Element, *, closed: bool) -> Outline:
    points = element.get("points", "").split()
    path = "M" + " L".join(point.replace(",", " ") for point in points)
    if closed:
        return Outline(path + " Z", 0.0, filled=True)
    return Outline(path, float(element.get("stroke-width", "0")))


def _box(element: Element) -> Outline:
    x, y, width, height = (float(element.get(name, "0")) for name in ("x", "y", "width", "height"))
    path = f"M{x:g} {y:g} L{x + width:g} {y:g} L{x + width:g} {y + height:g} L{x:g} {y + height:g} Z"
    if element.get("fill-opacity") == "0":
        return Outline(path, _FRAME_WIDTH)
    return Outline(path, 0.0, filled=True)


def _dot(element: Element) -> Outline:
    """Return a dot as four curves (the usual 0.5523 of the radius, within 0.03 % of a circle)."""
    x, y, radius = (float(element.get(name, "0")) for name in ("cx", "cy", "rx"))
    k = 0.5523 * radius
    left, right, top, bottom = x - radius, x + radius, y - radius, y + radius
    path = (
        f"M{left:g} {y:g} C{left:g} {y - k:g} {x - k:g} {top:g} {x:g} {top:g} "
        f"C{x + k:g} {top:g} {right:g} {y - k:g} {right:g} {y:g} "
        f"C{right:g} {y + k:g} {x + k:g} {bottom:g} {x:g} {bottom:g} "
        f"C{x - k:g} {bottom:g} {left:g} {y + k:g} {left:g} {y:g} Z"
    )
    return Outline(path, 0.0, filled=True)
