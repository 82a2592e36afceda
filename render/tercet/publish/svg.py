"""Shapes as SVG 1.1.

Everything is written with two decimals, so that the same drawing is the same bytes everywhere; one unit is one CSS
pixel. All text is escaped: it can't end an element or add one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from html import escape

from tercet.publish.shapes import Disc, Drawing, Group, Ink, Outline, Path, Shape, Sign, Text
from tercet.publish.typefaces import FONT_FAMILY

__all__ = ["FONTS", "sign_definitions", "svg_element", "svg_elements", "svg_text"]

FONTS = f"{FONT_FAMILY}, sans-serif"
"""The font of all text; a viewer that lacks it takes its own sans serif."""

_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 (section 2.2) doesn't allow, not even escaped."""

_STYLES = {"plain": "", "bold": ' font-weight="700"', "italic": ' font-style="italic"'}


def svg_text(drawing: Drawing) -> str:
    """Return a drawing as the text of an SVG file."""
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{svg_element(drawing)}\n'


def svg_element(drawing: Drawing) -> str:
    """Return a drawing as an svg element, which may stand in a page."""
    width, height = _number(drawing.width), _number(drawing.height)
    size = f'width="{width}" height="{height}" viewBox="0 0 {width} {height}"'
    ink = f' fill="{drawing.ink}" color="{drawing.ink}"' if drawing.signs else ""
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" font-family="{FONTS}"{ink}>',
        f"<title>{_plain(drawing.title)}</title>",
        f"<desc>{_plain(drawing.description)}</desc>",
        f'<rect width="{width}" height="{height}" fill="{drawing.background}"/>',
    ]
    if drawing.signs:
        lines.append(sign_definitions(drawing.signs))
    for shape in drawing.shapes:
        lines += svg_elements(shape)
    return "\n".join([*lines, "</svg>"])


def sign_definitions(signs: Mapping[str, str]) -> str:
    """Return the ``defs`` element of musical signs, which stands once in a document, before what uses it."""
    paths = "".join(
        f'<path id="sign-{name}" transform="scale(1,-1)" d="{path}"/>' for name, path in sorted(signs.items())
    )
    return f"<defs>{paths}</defs>"


def svg_elements(shape: Shape, around: str = "") -> Iterator[str]:
    """Yield the tags of one shape in order; `around` is the colour of the group around it, if that has one."""
    match shape:
        case Path():
            points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
            element = "polygon" if shape.closed else "polyline"
            yield f'<{element}{_named(shape.name)} points="{points}"{_inked(shape.ink)}/>'
        case Disc():
            place = f'cx="{_number(shape.x)}" cy="{_number(shape.y)}" r="{_number(shape.radius)}"'
            yield f"<circle{_named(shape.name)} {place}{_inked(shape.ink)}/>"
        case Outline():
            stroke = f' stroke="currentColor" stroke-width="{_number(shape.width)}"' if shape.width else ""
            fill = "" if shape.filled else ' fill="none"'
            yield f'<path d="{shape.path}"{stroke}{fill}/>'
        case Sign():
            place = f"translate({_number(shape.x)} {_number(shape.y)}) scale({shape.scale:g})"
            yield f'<use href="#sign-{shape.sign}" transform="{place}"/>'
        case Text():
            place = f'x="{_number(shape.x)}" y="{_number(shape.y)}" font-size="{_number(shape.size)}"'
            anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
            colour = f' fill="{shape.colour}"' if shape.colour else ""
            look = f"{_STYLES[shape.style]}{anchor}{colour}"
            yield f"<text{_named(shape.name)} {place}{look}>{_plain(shape.text)}</text>"
        case Group():
            yield from _group(shape, around)


def _group(group: Group, around: str) -> Iterator[str]:
    name = f' id="{group.id}"' if group.id else ""
    tint = f' fill="{group.colour}"' if group.colour and group.colour != around else ""
    yield f"<g{name}{_named(group.name)}{_transform(group)}{tint}>"
    if group.title:
        yield f"<title>{_plain(group.title)}</title>"
    for shape in group.shapes:
        yield from svg_elements(shape, group.colour or around)
    yield "</g>"


def _transform(group: Group) -> str:
    steps = []
    if group.placing:
        place = group.placing
        steps.append(f"translate({_number(place.x)} {_number(place.y)})")
        if place.scale != 1.0:
            steps.append(f"scale({place.scale:.6f})")
    if group.turned:
        steps.append(f"rotate({' '.join(map(_number, group.turned))})")
    return f' transform="{" ".join(steps)}"' if steps else ""


def _inked(ink: Ink) -> str:
    look = f' fill="{ink.fill or "none"}"'
    if ink.stroke:
        look += f' stroke="{ink.stroke}" stroke-width="{_number(ink.width)}"'
        look += ' stroke-linecap="round" stroke-linejoin="round"'
        if ink.dash:
            look += f' stroke-dasharray="{" ".join(_number(length) for length in ink.dash)}"'
    return look


def _named(name: str) -> str:
    return f' class="{_plain(name)}"' if name else ""


def _plain(text: str) -> str:
    """Return text as it may stand in XML."""
    return escape(_NOT_IN_XML.sub("\ufffd", text))


def _number(value: float) -> str:
    """Return a number with at most two decimals, never as -0."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
