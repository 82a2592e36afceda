"""An engraving as SVG: one drawing of all lines of music, or one of each, whose elements keep their names."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from html import escape

from tercet.publish.pictures.looks import LOOKS, toned
from tercet.publish.score.engraved import Glyph, Group, Lettering, Outline, Part, System
from tercet.publish.score.engraving import Engraving
from tercet.publish.score.score_parts import TextKind
from tercet.song import LAYERS

__all__ = ["definitions", "engraving_svg", "sign_definitions", "system_svg"]

FONT_FAMILY = "Noto Sans, sans-serif"
SYSTEM_GAP = 500.0
"""Space between lines of music, in fine units."""

_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

STYLES = {"plain": "", "bold": ' font-weight="700"', "italic": ' font-style="italic"'}
ANCHORS = {0.0: "", 0.5: ' text-anchor="middle"', 1.0: ' text-anchor="end"'}
FAR_INK = 0.72
"""Ink of the digits of strums, which are far; and of what only helps, such as counting."""

COLOURS: dict[str, str] = {
    "melody": LOOKS["melody"].colour,
    "between": LOOKS["between"].colour,
    "strums": toned(LOOKS["strums"].colour, FAR_INK),
}
"""Colours of digits and arrows by layer."""

SOFT_KINDS: frozenset[TextKind] = frozenset({"bar-number", "label", "finger"})
SOFT_COLOUR = "#6f665c"


def sign_definitions(engraving: Engraving) -> str:
    """Return the ``defs`` element with the musical signs, which stands once in a document, before what uses it."""
    return definitions(engraving.signs)


def definitions(signs: Mapping[str, str]) -> str:
    """Return the ``defs`` element of some signs."""
    paths = "".join(
        f'<path id="sign-{name}" transform="scale(1,-1)" d="{path}"/>' for name, path in sorted(signs.items())
    )
    return f"<defs>{paths}</defs>"


def system_svg(system: System) -> str:
    """Return one line of music as an svg element; it needs `sign_definitions` in the same document."""
    box = f"{_n(system.left)} {_n(system.top)} {_n(system.width)} {_n(system.height)}"
    inside = "".join(svg_parts(system.parts))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="system" viewBox="{box}" fill="currentColor" '
        f'font-family="{FONT_FAMILY}">{inside}</svg>'
    )


def engraving_svg(engraving: Engraving) -> str:
    """Return all lines of music as one svg element, the origin at its upper left."""
    width = max((system.left + system.width for system in engraving.systems), default=0.0)
    left = min((system.left for system in engraving.systems), default=0.0)
    top, groups = 0.0, []
    for index, system in enumerate(engraving.systems):
        inside = "".join(svg_parts(system.parts))
        groups.append(
            f'<g id="line{index}" class="system" transform="translate(0 {_n(top - system.top)})">{inside}</g>'
        )
        top += system.height + SYSTEM_GAP
    box = f"{_n(left)} 0 {_n(width - left)} {_n(max(top - SYSTEM_GAP, 0.0))}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" fill="currentColor" '
        f'font-family="{FONT_FAMILY}">{sign_definitions(engraving)}{"".join(groups)}</svg>'
    )


def svg_parts(parts: tuple[Part, ...], colour: str = "") -> Iterator[str]:
    """Yield shapes as SVG; `colour` is that of the layer they belong to, if any."""
    for part in parts:
        match part:
            case Group():
                yield from _group(part, colour)
            case Glyph():
                place = f"translate({_n(part.x)} {_n(part.y)}) scale({part.scale:g})"
                yield f'<use href="#sign-{part.sign}" transform="{place}"/>'
            case Outline():
                stroke = f' stroke="currentColor" stroke-width="{_n(part.width)}"' if part.width else ""
                fill = "" if part.filled else ' fill="none"'
                yield f'<path d="{part.path}"{stroke}{fill}/>'
            case Lettering():
                yield lettering_svg(part)


def _group(group: Group, colour: str) -> Iterator[str]:
    name = f' id="{group.name}"' if group.name else ""
    classes = f' class="{" ".join(group.classes)}"' if group.classes else ""
    turned = ""
    if group.turned:
        angle, x, y = group.turned
        turned = f' transform="rotate({_n(angle)} {_n(x)} {_n(y)})"'
    layer = next((word for word in group.classes if word in LAYERS), None)
    tint = f' fill="{COLOURS[layer]}"' if layer and COLOURS[layer] != colour else ""
    yield f"<g{name}{classes}{turned}{tint}>"
    yield from svg_parts(group.parts, COLOURS[layer] if layer else colour)
    yield "</g>"


def lettering_svg(part: Lettering) -> str:
    """Return a text as SVG; it can't end its element."""
    soft = f' fill="{SOFT_COLOUR}"' if part.kind in SOFT_KINDS else ""
    place = f'x="{_n(part.x)}" y="{_n(part.y)}" font-size="{_n(part.size)}"'
    text = escape(_NOT_IN_XML.sub("\ufffd", part.text))
    return f'<text class="{part.kind}" {place}{STYLES[part.style]}{ANCHORS[part.anchor]}{soft}>{text}</text>'


def _n(value: float) -> str:
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")
