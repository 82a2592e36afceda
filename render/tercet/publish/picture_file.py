"""Which kinds of picture there are, by the ending of the file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from tercet.errors import RequestError
from tercet.publish.canvas import Drawing, svg_text
from tercet.publish.papers import PAPERS_PT
from tercet.publish.pdf import pdf_bytes
from tercet.publish.raster import png_bytes

__all__ = ["PICTURE_ENDINGS", "landscape_pdf", "picture_maker"]

PICTURE_ENDINGS: dict[str, Callable[[Drawing], bytes]] = {
    ".svg": lambda drawing: svg_text(drawing).encode("utf-8"),
    ".png": png_bytes,
}
"""How a drawing becomes the bytes of a file, by its ending."""

MARGIN_PT = 28.0


def picture_maker(
    path: Path, endings: Mapping[str, Callable[[Drawing], bytes]] = PICTURE_ENDINGS
) -> Callable[[Drawing], bytes]:
    """Return what turns a drawing into the bytes of a file of this name.

    Raises
    ------
    RequestError
        If the ending isn't one of `endings`.
    """
    make = endings.get(path.suffix.lower())
    if make is None:
        *most, last = endings
        raise RequestError(
            f"{path} ends in {path.suffix or 'nothing'}: a picture's name ends in {', '.join(most)} or {last}, "
            f"such as {path.with_suffix('.svg').name}"
        )
    return make


def landscape_pdf(paper: str) -> Callable[[Drawing], bytes]:
    """Return what turns a drawing into a page of paper lying on its side: white, to be printed and written on."""
    height, width = PAPERS_PT[paper]

    def make(drawing: Drawing) -> bytes:
        svg = svg_text(replace(drawing, background="#ffffff"))
        return pdf_bytes([svg], title=drawing.title, page_pt=(width, height), margin_pt=MARGIN_PT)

    return make
