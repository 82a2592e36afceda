"""Where the ink of each text of an SVG lies, by the font's own outlines; which texts run into each other."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
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
        font = _font(bold=element.get("font-weight") == "700", wide=any(ord(sign) > 0x2FFF for sign in text))
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        left, top, right, bottom = (edge * size / EM for edge in font.getbbox(text, anchor="ls"))
        if right <= left:
            continue
        advance = font.getlength(text) * size / EM
        x -= {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", ""), 0.0) * advance
        boxes.append(TextBox(element.get("class", ""), text, size, x + left, y + top, x + right, y + bottom))
    return boxes


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


@lru_cache(maxsize=4)
def _font(*, bold: bool, wide: bool) -> ImageFont.FreeTypeFont:
    if wide:
        return ImageFont.truetype(_file("noto_cjk_sans_jp_regular", "NotoSansCJKjp-Regular.otf"), EM)
    font = ImageFont.truetype(_file("fontpkg_noto_sans", "files/NotoSans[wdth,wght].ttf"), EM)
    font.set_variation_by_axes([700 if bold else 400, 100])
    return font


def _file(package: str, name: str) -> str:
    spec = importlib.util.find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations
    return str(Path(spec.submodule_search_locations[0], name))
