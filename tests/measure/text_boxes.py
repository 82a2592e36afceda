"""Where the ink of each text of an SVG lies, by the font's own outlines; which texts run into each other."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from xml.etree import ElementTree as ET

from PIL import ImageFont

__all__ = ["TextBox", "outside", "overlapping", "text_boxes"]

SVG = "{http://www.w3.org/2000/svg}"
EM = 200


@dataclass(frozen=True, slots=True)
class TextBox:
    """The ink of a text: its class, what it says, its font size, and its edges in units of the drawing."""

    name: str
    text: str
    size: float
    left: float
    top: float
    right: float
    bottom: float


def text_boxes(svg: str) -> list[TextBox]:
    """Return the box of every text that shows something."""
    boxes = []
    for element in ET.fromstring(svg).iter(f"{SVG}text"):
        text, size = element.text or "", float(element.get("font-size", "16"))
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        edges, advance = _ink(text, bold=element.get("font-weight") == "700")
        left, top, right, bottom = (edge * size / EM for edge in edges)
        if right <= left:
            continue
        x -= {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", ""), 0.0) * advance * size / EM
        boxes.append(TextBox(element.get("class", ""), text, size, x + left, y + top, x + right, y + bottom))
    return boxes


def _ink(text: str, *, bold: bool) -> tuple[tuple[float, float, float, float], float]:
    """Return the edges of a text's ink, and its advance, at size `EM`: set run by run in the fonts that have it."""
    x, boxes = 0.0, []
    for script, run in groupby(text, key=_script):
        font, told = _font(script, bold=bold), "".join(run)
        left, top, right, bottom = font.getbbox(told, anchor="ls")
        if right > left:
            boxes.append((x + left, float(top), x + right, float(bottom)))
        x += font.getlength(told)
    if not boxes:
        return (0.0, 0.0, 0.0, 0.0), x
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return (min(lefts), min(tops), max(rights), max(bottoms)), x


def _script(sign: str) -> str:
    """Return which font a sign is set in."""
    if ord(sign) > 0x2E7F:
        return "square"
    return "hebrew" if "\u0590" <= sign <= "\u05ff" else "arabic" if "\u0600" <= sign <= "\u06ff" else ""


def overlapping(boxes: Iterable[TextBox], slack: float = 0.5) -> list[tuple[TextBox, TextBox]]:
    """Return the pairs of texts whose ink shares more than `slack` units both across and down."""
    found = []
    waiting: list[TextBox] = []
    for box in sorted(boxes, key=lambda each: each.left):
        waiting = [other for other in waiting if other.right - slack > box.left]
        found += [
            (other, box)
            for other in waiting
            if min(other.bottom, box.bottom) - max(other.top, box.top) > slack
        ]
        waiting.append(box)
    return found


def outside(boxes: Iterable[TextBox], width: float, height: float) -> list[TextBox]:
    """Return the texts that don't lie wholly within a drawing."""
    return [box for box in boxes if box.left < 0 or box.top < 0 or box.right > width or box.bottom > height]


@lru_cache(maxsize=8)
def _font(script: str, *, bold: bool) -> ImageFont.FreeTypeFont:
    if script == "square":
        return ImageFont.truetype(_file("noto_cjk_sans_jp_regular", "NotoSansCJKjp-Regular.otf"), EM)
    if script == "hebrew":
        return ImageFont.truetype(_file("fontpkg_heebo", "files/Heebo[wght].ttf"), EM)
    package, file = ("fontpkg_noto_sans_arabic", "Arabic") if script else ("fontpkg_noto_sans", "")
    font = ImageFont.truetype(_file(package, f"files/NotoSans{file}[wdth,wght].ttf"), EM)
    font.set_variation_by_axes([700 if bold else 400, 100])
    return font


def _file(package: str, name: str) -> str:
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations
    return str(Path(spec.submodule_search_locations[0], name))
