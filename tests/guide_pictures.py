"""The pictures of docs/guide.md, made small from what its commands leave."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

from PIL import Image

__all__ = ["DRAWN", "PICTURES", "guide_picture", "keep_small"]

PICTURES = Path(__file__).resolve().parent.parent / "docs" / "pictures"
WIDTH = 840
"""Pixels across of a picture in the guide."""
COLOURS = 96


def guide_picture(name: str, folder: Path) -> Image.Image:
    """Return one picture of the guide, from the folder in which its commands were run.

    Parameters
    ----------
    name
        One of `DRAWN`.
    folder
        Where the guide's song lies.
    """
    with DRAWN[name](folder) as large:
        size = (WIDTH, round(large.height * WIDTH / large.width))
        return large.convert("RGB").resize(size, Image.Resampling.LANCZOS)


def keep_small(picture: Image.Image, path: Path) -> None:
    """Write a picture as a PNG of few colours."""
    few = picture.convert("RGB").quantize(
        COLOURS, Image.Quantize.MAXCOVERAGE, kmeans=4, dither=Image.Dither.NONE
    )
    few.save(path, "PNG", optimize=True)


def _sheet(folder: Path) -> Image.Image:
    """Draw the sheet as one picture, by the command that the guide has for a PDF."""
    import resvg_py

    from tercet.cli import main
    from tercet.publish.typefaces import font_files

    path = folder / "sheet.svg"
    main(["sheet", str(folder / "apples.yaml"), "-o", str(path)])
    text = path.read_text(encoding="utf-8")
    fonts = [str(font) for font in font_files(["a"])]
    width, height = map(float, re.findall(r'(?:width|height)="([\d.]+)"', text)[:2])
    png = resvg_py.svg_to_bytes(svg_string=text, zoom=3.0, skip_system_fonts=True, font_files=fonts)
    with Image.open(io.BytesIO(bytes(png))) as whole:
        return whole.crop((0, 0, whole.width, int(whole.width * height / width)))


DRAWN: dict[str, Callable[[Path], Image.Image]] = {
    "guide-take.png": lambda folder: Image.open(folder / "take.png"),
    "guide-handout.png": lambda folder: Image.open(folder / "class" / "apples" / "handout.png"),
    "guide-sheet.png": _sheet,
}
"""How each picture is found in the folder where the guide was worked through; that of the page needs a browser."""
