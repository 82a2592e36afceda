"""What a picture of a take shows, read from the SVG as an XML document and from the PNG byte by byte."""

from __future__ import annotations

import re
import struct
import zlib
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

__all__ = ["Mark", "marks_of", "nearer_is_larger_and_darker", "pixels_of", "size_of_png", "words_of"]

SVG = "{http://www.w3.org/2000/svg}"
LIGHT = (0.2126, 0.7152, 0.0722)
"""Weights of red, green and blue in luminance (ITU-R BT.709)."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A note's mark: its layer, what its title says, half its height, how light its ink is, and how it is drawn."""

    layer: str
    level_db: float
    action: str
    size: float
    light: float
    head: str
    tail: str


def marks_of(svg: str) -> list[Mark]:
    """Return the marks of all notes, from the back to the front."""
    groups = [group for group in ET.fromstring(svg).iter(f"{SVG}g") if _class(group).startswith("note ")]
    return [_mark(group) for group in groups]


def words_of(svg: str, name: str) -> list[str]:
    """Return the texts of a class: ``word``, ``section``, ``bar number`` and so on."""
    return [text.text or "" for text in ET.fromstring(svg).iter(f"{SVG}text") if _class(text) == name]


def nearer_is_larger_and_darker(marks: list[Mark]) -> bool:
    """Return whether, within each layer, a note that is at least 1 dB louder is larger, and never lighter.

    Two may both be as small as any mark is.
    """
    smallest, largest = min(mark.size for mark in marks), max(mark.size for mark in marks)
    pairs = [
        (soft, loud)
        for soft in marks
        for loud in marks
        if soft.layer == loud.layer and soft.action == loud.action and loud.level_db - soft.level_db >= 1.0
    ]
    return bool(pairs) and all(
        (loud.size > soft.size or loud.size == smallest < largest) and loud.light <= soft.light
        for soft, loud in pairs
    )


def _class(element: ET.Element) -> str:
    return element.get("class", "")


def _mark(group: ET.Element) -> Mark:
    title = group.findtext(f"{SVG}title", "")
    level = re.search(r"([+-][\d.]+) dB", title)
    action = re.search(r", (\w+):", title)
    assert level is not None
    assert action is not None
    head = next(element for element in group if _class(element) == "head")
    tail = next((element for element in group if _class(element) == "tail"), None)
    fill, stroke = head.get("fill", "none"), head.get("stroke", "")
    outlined = fill == "none" or _light(stroke) < _light(fill)
    return Mark(
        layer=_class(group).removeprefix("note "),
        level_db=float(level[1]),
        action=action[1],
        size=_half_height(head),
        light=_light(stroke if outlined else fill),
        head=f"{'outlined' if outlined else 'filled'} {head.tag.removeprefix(SVG)}",
        tail=_line(tail),
    )


def _line(tail: ET.Element | None) -> str:
    """Return how a line is drawn: solid, dashed or dotted; empty without one."""
    if tail is None:
        return ""
    dash = tail.get("stroke-dasharray")
    if dash is None:
        return "solid"
    return "dotted" if float(dash.split()[0]) < 0.25 * float(tail.get("stroke-width", "1")) else "dashed"


def _half_height(head: ET.Element) -> float:
    if head.tag == f"{SVG}circle":
        return float(head.get("r", "0"))
    heights = [float(point.partition(",")[2]) for point in head.get("points", "").split()]
    return (max(heights) - min(heights)) / 2.0


def _light(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    return sum(weight * part for weight, part in zip(LIGHT, parts, strict=True))


def size_of_png(data: bytes) -> tuple[int, int]:
    """Return width and height in pixels, from the header (PNG specification, 11.2.2)."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])
    return int(width), int(height)


def pixels_of(data: bytes) -> NDArray[np.uint8]:
    """Return the pixels of a PNG of eight-bit red, green, blue and opacity: (height, width, 4)."""
    width, height = size_of_png(data)
    assert data[24:29] == bytes((8, 6, 0, 0, 0)), "eight bits, with opacity, not interlaced"
    packed, place = b"", 8
    while place < len(data):
        (length,) = struct.unpack(">I", data[place : place + 4])
        if data[place + 4 : place + 8] == b"IDAT":
            packed += data[place + 8 : place + 8 + length]
        place += length + 12
    lines = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(height, 1 + 4 * width)
    pixels = np.zeros((height + 1, width + 1, 4), np.int64)
    for y, line in enumerate(lines, start=1):
        _unfilter(pixels, y, int(line[0]), line[1:].reshape(width, 4).astype(np.int64))
    return pixels[1:, 1:].astype(np.uint8)


def _unfilter(pixels: NDArray[np.int64], y: int, kind: int, line: NDArray[np.int64]) -> None:
    """Undo the filter of one line (PNG specification, 9.2), below and to the right of a rim of zeros."""
    for x, told in enumerate(line, start=1):
        left, above, corner = pixels[y, x - 1], pixels[y - 1, x], pixels[y - 1, x - 1]
        guess = (0, left, above, (left + above) // 2, _paeth(left, above, corner))[kind]
        pixels[y, x] = (told + guess) % 256


def _paeth(left: NDArray[np.int64], above: NDArray[np.int64], corner: NDArray[np.int64]) -> NDArray[np.int64]:
    to_left, to_above, to_corner = abs(above - corner), abs(left - corner), abs(left + above - 2 * corner)
    nearest = np.where(to_above <= to_corner, above, corner)
    return np.where((to_left <= to_above) & (to_left <= to_corner), left, nearest)
