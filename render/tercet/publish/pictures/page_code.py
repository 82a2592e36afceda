"""The way from paper to a song's page: its address as a QR code (ISO/IEC 18004), and in words that one can type."""

from __future__ import annotations

import segno

from tercet.publish.pictures.looks import TEXT
from tercet.publish.shapes import Group, Ink, Path, Placing, Point, Shape

__all__ = ["page_code", "short_address"]

QUIET_MODULES = 4
"""Modules that stay light on every side of a code, by the standard."""

LIGHT = "#ffffff"


def page_code(address: str, x: float, y: float, size: float) -> Shape:
    """Return a QR code of an address: a square with its upper left corner at (x, y), the light edge included.

    It can be read with 15 % of it hidden (level M), or more where that needs no larger code.
    """
    rows = segno.make(address, error="m", micro=False).matrix
    side = len(rows) + 2 * QUIET_MODULES
    paper = Path(_box(0, 0, side, side), Ink(fill=LIGHT), closed=True)
    dark = [
        Path(_box(begins + QUIET_MODULES, at + QUIET_MODULES, ends - begins, 1), Ink(fill=TEXT), closed=True)
        for at, row in enumerate(rows)
        for begins, ends in _runs(row)
    ]
    return Group((paper, *dark), "page code", f"QR code: {address}", placing=Placing(x, y, size / side))


def short_address(address: str) -> str:
    """Return an address as people type it: without its scheme and the slash at its end."""
    return address.partition("://")[2].rstrip("/") or address


def _runs(row: bytearray) -> list[tuple[int, int]]:
    """Return where modules of a row are dark: from, up to."""
    edges = [at for at in range(len(row) + 1) if (row[at - 1 : at] or b"\0") != (row[at : at + 1] or b"\0")]
    return list(zip(edges[::2], edges[1::2], strict=True))


def _box(x: float, y: float, width: float, height: float) -> tuple[Point, ...]:
    return (x, y), (x + width, y), (x + width, y + height), (x, y + height)
