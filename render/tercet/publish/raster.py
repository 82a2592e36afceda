"""From a drawing to a PNG. The fonts come with packages, so text looks the same on every machine."""

from __future__ import annotations

from math import sqrt

from tercet.publish.canvas import FONT_FAMILY, Drawing, svg_text, texts_in
from tercet.publish.typefaces import font_files

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
            font_files=[str(path) for path in font_files(text.text for text in texts_in(drawing.shapes))],
            font_family=FONT_FAMILY,
            sans_serif_family=FONT_FAMILY,
        )
    )
