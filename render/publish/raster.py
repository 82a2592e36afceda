"""From a drawing to a PNG. The font comes with a package, so text looks the same on every machine."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

from render.publish.canvas import FONT_FAMILY, Drawing, svg_text

__all__ = ["png_bytes"]

ZOOM = 2.0
"""Pixels a drawing unit: sharp on a phone and in print at A4 width (about 290 dots an inch)."""

MOST_PIXELS = 60e6
"""A long song's picture gets fewer pixels a unit rather than more memory: 60 million take 240 MB while it is drawn."""


def png_bytes(drawing: Drawing, zoom: float = ZOOM) -> bytes:
    """Return a drawing as a PNG, `zoom` pixels a unit, or fewer where that would be more than `MOST_PIXELS`."""
    import resvg_py

    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg_text(drawing),
            zoom=min(zoom, sqrt(MOST_PIXELS / (drawing.width * drawing.height))),
            skip_system_fonts=True,
            font_files=_font_files(),
            font_family=FONT_FAMILY,
            sans_serif_family=FONT_FAMILY,
        )
    )


def _font_files() -> list[str]:
    """Return the files of the font: upright in all weights."""
    import fontpkg_noto_sans

    return [str(Path(fontpkg_noto_sans.ROOT, "files", "NotoSans[wdth,wght].ttf"))]
