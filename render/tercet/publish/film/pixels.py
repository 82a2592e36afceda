"""Pixels of a film: drawings as the planes that an encoder takes, and what is laid over them.

A frame has its brightness for every pixel and its two colours for every second one each way (planar YUV 4:2:0), by
ITU-R BT.709 in its narrow range. What is laid over another lies on even pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tercet.publish.picture_files import png_bytes
from tercet.publish.shapes import Drawing

__all__ = ["Picture", "Sprite", "even", "picture_of", "sprite_of"]

Plane = NDArray[np.uint8]

_RED, _BLUE = 0.2126, 0.0722
"""Parts of brightness (ITU-R BT.709-6, item 3.2); green has the rest."""

_LUMA, _LUMA_FROM, _CHROMA, _CHROMA_FROM = 219.0, 16.0, 224.0, 128.0
"""Narrow range (item 4.6)."""


def even(length: float) -> int:
    """Return the even whole number nearest to a length."""
    return 2 * round(length / 2.0)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as three planes: brightness (height, width), and each colour (height / 2, width / 2)."""

    luma: Plane
    blue: Plane
    red: Plane

    @property
    def width(self) -> int:
        """Pixels across."""
        return int(self.luma.shape[1])

    @property
    def height(self) -> int:
        """Pixels down."""
        return int(self.luma.shape[0])

    def copy(self) -> Picture:
        """Return a picture of its own."""
        return Picture(self.luma.copy(), self.blue.copy(), self.red.copy())

    def put(self, other: Picture, x: int, y: int) -> None:
        """Put another picture at even pixels; what lies outside is cut off."""
        for own, its, step in zip(self.planes, other.planes, (1, 2, 2), strict=True):
            target = own[y // step :, x // step :]
            rows, columns = min(target.shape[0], its.shape[0]), min(target.shape[1], its.shape[1])
            target[:rows, :columns] = its[:rows, :columns]

    def restore(self, other: Picture, x: int, y: int, width: int, height: int) -> None:
        """Take a box of another picture of the same size."""
        for own, its, step in zip(self.planes, other.planes, (1, 2, 2), strict=True):
            box = np.s_[y // step : (y + height) // step, x // step : (x + width) // step]
            own[box] = its[box]

    def lay(self, sprite: Sprite, x: int, y: int) -> tuple[int, int, int, int]:
        """Lay a sprite over it at even pixels, and return the box that it changed: x, y, width, height."""
        left, top = max(x, 0), max(y, 0)
        right, bottom = min(x + sprite.width, self.width), min(y + sprite.height, self.height)
        if left >= right or top >= bottom:
            return left, top, 0, 0
        parts = zip(self.planes, sprite.colours, sprite.lets_through, (1, 2, 2), strict=True)
        for own, colour, through, step in parts:
            box = np.s_[top // step : bottom // step, left // step : right // step]
            inner = np.s_[(top - y) // step : (bottom - y) // step, (left - x) // step : (right - x) // step]
            own[box] = (colour[inner] + through[inner] * own[box] + 0.5).astype(np.uint8)
        return left, top, right - left, bottom - top

    def paled(self, ink: float, paper: Picture) -> Picture:
        """Return it thinned towards a paper: all of it at ink 1, the paper at 0."""
        return Picture(
            *(
                (ink * own.astype(np.float32) + (1.0 - ink) * int(its[0, 0]) + 0.5).astype(np.uint8)
                for own, its in zip(self.planes, paper.planes, strict=True)
            )
        )

    @property
    def planes(self) -> tuple[Plane, Plane, Plane]:
        """Its planes, in the order in which an encoder takes them."""
        return self.luma, self.blue, self.red


@dataclass(frozen=True, slots=True)
class Sprite:
    """What is laid over a picture, plane by plane: its colours by how much they cover, and how much shows through."""

    colours: tuple[NDArray[np.float32], ...]
    lets_through: tuple[NDArray[np.float32], ...]

    def thinned(self, ink: float) -> Sprite:
        """Return it so thin that the rest shows through."""
        return Sprite(
            tuple(np.float32(ink) * colour for colour in self.colours),
            tuple(np.float32(1.0) - np.float32(ink) * (np.float32(1.0) - each) for each in self.lets_through),
        )

    @property
    def width(self) -> int:
        """Pixels across."""
        return int(self.colours[0].shape[1])

    @property
    def height(self) -> int:
        """Pixels down."""
        return int(self.colours[0].shape[0])


def picture_of(drawing: Drawing) -> Picture:
    """Return a drawing whose units are pixels, an even number each way."""
    rgb = _rgba(drawing)[..., :3]
    luma, blue, red = _planes(rgb)
    return Picture(*(np.rint(plane).astype(np.uint8) for plane in (luma, _halved(blue), _halved(red))))


def sprite_of(drawing: Drawing) -> Sprite:
    """Return a drawing without a background, whose units are pixels, an even number each way."""
    pixels = _rgba(drawing)
    covers = pixels[..., 3] / np.float32(255.0)
    luma, blue, red = (plane * covers for plane in _planes(pixels[..., :3]))
    half = _halved(covers)
    through = (1.0 - covers, 1.0 - half, 1.0 - half)
    return Sprite((luma, _halved(blue), _halved(red)), through)


def _rgba(drawing: Drawing) -> NDArray[np.float32]:
    with Image.open(BytesIO(png_bytes(drawing, zoom=1.0))) as image:
        return np.asarray(image.convert("RGBA"), dtype=np.float32)


def _planes(rgb: NDArray[np.float32]) -> tuple[NDArray[np.float32], ...]:
    """Return brightness and both colours, all at full size."""
    parts = rgb / np.float32(255.0)
    bright = _RED * parts[..., 0] + (1.0 - _RED - _BLUE) * parts[..., 1] + _BLUE * parts[..., 2]
    return (
        (_LUMA_FROM + _LUMA * bright).astype(np.float32),
        (_CHROMA_FROM + _CHROMA * (parts[..., 2] - bright) / (2.0 * (1.0 - _BLUE))).astype(np.float32),
        (_CHROMA_FROM + _CHROMA * (parts[..., 0] - bright) / (2.0 * (1.0 - _RED))).astype(np.float32),
    )


def _halved(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the mean of every four neighbours."""
    height, width = plane.shape
    means: NDArray[np.float32] = plane.reshape(height // 2, 2, width // 2, 2).mean(axis=(1, 3))
    return means
