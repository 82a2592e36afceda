"""Files of pictures: which kinds there are, by the ending of the name, and the sizes of paper."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import sqrt
from pathlib import Path

from tercet.errors import RequestError
from tercet.made_files import check_ending
from tercet.publish.pdf import pdf_bytes
from tercet.publish.shapes import Drawing, texts_in
from tercet.publish.svg import svg_text
from tercet.publish.typefaces import FONT_FAMILY, font_files
from tercet.wording import did_you_mean, listed, lookalikes

__all__ = [
    "HALVES",
    "PAPERS_PT",
    "PICTURE_ENDINGS",
    "USUAL_PAPER",
    "landscape_pdf",
    "paper_named",
    "picture_maker",
    "png_bytes",
]

PAPERS_PT: dict[str, tuple[float, float]] = {
    "A4": (595.28, 841.89),
    "Letter": (612.0, 792.0),
    "A5": (419.53, 595.28),
    "Half-Letter": (396.0, 612.0),
}
"""Width and height of a sheet held upright, in points."""

HALVES = {"A4": "A5", "Letter": "Half-Letter"}
"""What a paper folded in the middle has for pages."""

USUAL_PAPER = "A4"

MARGIN_PT = 28.0

ZOOM = 2.0
"""Pixels of a PNG to a drawing unit: sharp on a phone and in print at A4 width (about 290 dots an inch)."""

MOST_PIXELS = 60e6
"""A long song's picture gets fewer pixels a unit rather than more memory: 60 million take 240 MB while it is drawn."""


def paper_named(text: str) -> str:
    """Return the name of a paper that is asked for in capitals or not.

    Raises
    ------
    RequestError
        There is none of that name.
    """
    plain = "-".join(text.casefold().split()).removeprefix("us").removeprefix("-")
    for name in PAPERS_PT:
        if plain == name.casefold():
            return name
    near = lookalikes(plain, PAPERS_PT)
    raise RequestError(
        f"--paper must be {listed(PAPERS_PT, 'or')} (got {text}){did_you_mean(near)}",
        given=text,
        meant="".join(near),
    )


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


PICTURE_ENDINGS: dict[str, Callable[[Drawing], bytes]] = {
    ".svg": lambda drawing: svg_text(drawing).encode("utf-8"),
    ".png": png_bytes,
}
"""How a drawing becomes the bytes of a file, by its ending."""


def picture_maker(
    path: Path, endings: Mapping[str, Callable[[Drawing], bytes]] = PICTURE_ENDINGS
) -> Callable[[Drawing], bytes]:
    """Return what turns a drawing into the bytes of a file of this name.

    Raises
    ------
    RequestError
        If the ending isn't one of `endings`.
    """
    check_ending(path, tuple(endings), "picture", ".svg")
    return endings[path.suffix.lower()]


def landscape_pdf(paper: str) -> Callable[[Drawing], bytes]:
    """Return what turns a drawing into a page of paper lying on its side: white, to be printed and written on."""
    height, width = PAPERS_PT[paper]

    def make(drawing: Drawing) -> bytes:
        white = replace(drawing, background="#ffffff")
        return pdf_bytes([white], title=drawing.title, page_pt=(width, height), margin_pt=MARGIN_PT)

    return make
