"""A sheet as SVG: one picture of each of its pages."""

from __future__ import annotations

from html import escape

from tercet.publish.canvas import Drawing, svg_text
from tercet.publish.pictures.looks import TEXT
from tercet.publish.score.engraving_svg import FONT_FAMILY, definitions, svg_parts
from tercet.publish.score.pages import Sheet, SheetPage

__all__ = ["sheet_svg"]

WHITE = "#ffffff"


def sheet_svg(sheet: Sheet, page_index: int = 0) -> str:
    """Return a page of a sheet as the text of an SVG file; a sheet laid out endless has all on its first."""
    page = sheet.pages[page_index]
    drawing = Drawing(page.width, page.height, page.shapes, WHITE, sheet.title, _described(page))
    head, _, _ = svg_text(drawing).rpartition("</svg>")
    return "\n".join([head.rstrip("\n"), definitions(sheet.signs), *_music(page), "</svg>", ""])


def _described(page: SheetPage) -> str:
    bars = sum(len(placed.system.bars) for placed in page.music)
    return f"A tune on a staff with words, and a tab of four lines under it: {bars} bars."


def _music(page: SheetPage) -> list[str]:
    lines = []
    for placed in page.music:
        scale = placed.scale
        x, y = placed.x, placed.y - placed.system.top * scale
        transform = escape(f"translate({x:.2f} {y:.2f}) scale({scale:.6f})")
        inside = "".join(svg_parts(placed.system.parts))
        lines.append(
            f'<g class="system" transform="{transform}" fill="{TEXT}" color="{TEXT}" '
            f'font-family="{FONT_FAMILY}">{inside}</g>'
        )
    return lines
