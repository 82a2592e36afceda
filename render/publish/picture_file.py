"""Which kinds of picture there are, by the ending of the file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from render.errors import RequestError
from render.publish.canvas import Drawing, svg_text
from render.publish.raster import png_bytes

__all__ = ["PICTURE_ENDINGS", "picture_maker"]

PICTURE_ENDINGS: dict[str, Callable[[Drawing], bytes]] = {
    ".svg": lambda drawing: svg_text(drawing).encode("utf-8"),
    ".png": png_bytes,
}
"""How a drawing becomes the bytes of a file, by its ending."""


def picture_maker(path: Path) -> Callable[[Drawing], bytes]:
    """Return what turns a drawing into the bytes of a file of this name.

    Raises
    ------
    RequestError
        If the ending isn't one of `PICTURE_ENDINGS`.
    """
    make = PICTURE_ENDINGS.get(path.suffix.lower())
    if make is None:
        known = " or ".join(PICTURE_ENDINGS)
        raise RequestError(
            f"{path} ends in {path.suffix or 'nothing'}: a picture's name ends in {known}, "
            f"such as {path.with_suffix('.svg').name}"
        )
    return make
