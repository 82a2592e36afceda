"""Pages of a sheet: its head, lines of music that are never broken, its foot.

Lengths on a page are in points of 1/72 inch, x to the right and y down from the upper left corner.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from render.arrange import Arrangement
from render.publish.canvas import Shape, Text
from render.publish.engraved import System
from render.publish.engraving import Engraving, engrave
from render.publish.looks import TEXT_SOFT
from render.publish.paragraphs import wrapped
from render.publish.score_parts import ScoreLook
from render.publish.sheet_foot import sheet_foot
from render.publish.sheet_head import Block, moved, sheet_head

__all__ = ["PAPERS_PT", "Paper", "PlacedSystem", "Sheet", "SheetLook", "SheetPage", "sheet_of"]

Paper = Literal["A4", "Letter"]
PAPERS_PT: dict[Paper, tuple[float, float]] = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}
"""Width and height."""

MARGIN = 42.0
FOOTER = 18.0
"""Room under the music for the title and the page's number."""

SYSTEM_GAP = 15.0
MOST_EXTRA_GAP = 14.0
"""Between lines of music; a page that is nearly full is filled by wider gaps."""

WIDTH, WIDTH_LARGE = 2150, 1350
"""Length of a line of music in the engraver's units: the fewer, the larger the music."""

_FINE = 10.0


@dataclass(frozen=True, slots=True)
class SheetLook:
    """How a sheet is to be.

    Parameters
    ----------
    paper
        Its format; None for one endless page, as wide as A4.
    large
        Bigger, tab and words only.
    left_handed
        Chord diagrams mirrored: string 4 on the right.
    """

    paper: Paper | None = "A4"
    large: bool = False
    left_handed: bool = False


@dataclass(frozen=True, slots=True)
class PlacedSystem:
    """A line of music on a page: where its box's upper left corner lies, and points for each fine unit."""

    system: System
    x: float
    y: float
    scale: float

    @property
    def height(self) -> float:
        """How high it is on the page."""
        return self.system.height * self.scale


@dataclass(frozen=True, slots=True)
class SheetPage:
    """One page."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    music: tuple[PlacedSystem, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: its pages, the outlines of the musical signs on them, and what it is called."""

    pages: tuple[SheetPage, ...]
    signs: Mapping[str, str]
    title: str
    author: str


def sheet_of(arrangement: Arrangement, look: SheetLook = SheetLook()) -> Sheet:  # noqa: B008
    """Lay out the sheet of an arrangement."""
    engraving = engrave(
        arrangement, ScoreLook(tune=not look.large, width=WIDTH_LARGE if look.large else WIDTH)
    )
    width, height = PAPERS_PT[look.paper or "A4"]
    inner = width - 2 * MARGIN
    head = sheet_head(arrangement, engraving.form, inner, left_handed=look.left_handed, large=look.large)
    foot = sheet_foot(arrangement, inner, large=look.large)
    room = height - 2 * MARGIN - FOOTER if look.paper else float("inf")
    placed = _sized(engraving, inner, room)
    song = arrangement.song
    if look.paper is None:
        page = _endless(head, placed, foot, width)
        return Sheet((page,), engraving.signs, song.title, song.composer)
    pages = [
        SheetPage(width, height, tuple(moved(block.shapes, MARGIN, MARGIN)), music)
        for block, music in _broken(head, placed, foot, room)
    ]
    notice = " · ".join(part for part in (song.title, song.licence) if part)
    numbered = tuple(
        replace(page, shapes=(*page.shapes, *_footer(notice, number, len(pages), width, height)))
        for number, page in enumerate(pages, 1)
    )
    return Sheet(numbered, engraving.signs, song.title, song.composer)


def _sized(engraving: Engraving, inner: float, room: float) -> list[PlacedSystem]:
    """Return the lines of music at their size: all alike, but smaller one that is too wide or too high for a page."""
    full = max((system.left + system.width for system in engraving.systems), default=1.0)
    usual = sorted(system.left + system.width for system in engraving.systems)
    scale = inner / (usual[len(usual) // 2] if usual else full)
    placed = []
    for system in engraving.systems:
        own = min(
            scale, inner / max(system.left + system.width, system.width), room / max(system.height, 1.0)
        )
        placed.append(PlacedSystem(system, MARGIN + min(system.left, 0.0) * 0.0, 0.0, own))
    return placed


def _broken(
    head: Block, placed: Sequence[PlacedSystem], foot: Block, room: float
) -> list[tuple[Block, tuple[PlacedSystem, ...]]]:
    """Return for each page its text and its lines of music."""
    pages: list[tuple[list[Shape], list[PlacedSystem], float]] = [(list(head.shapes), [], head.height)]
    for system in placed:
        shapes, music, used = pages[-1]
        if used + system.height > room and (music or shapes):
            pages.append(([], [], 0.0))
            shapes, music, used = pages[-1]
        music.append(replace(system, y=used))
        pages[-1] = (shapes, music, used + system.height + SYSTEM_GAP)
    shapes, music, used = pages[-1]
    if used + foot.height > room:
        pages.append((list(foot.shapes), [], foot.height))
    else:
        shapes += moved(foot.shapes, room - foot.height)
        pages[-1] = (shapes, music, room)
    finished = []
    for index, (shapes, music, used) in enumerate(pages):
        last_with_music = index == len(pages) - 1 or not pages[index + 1][1]
        extra = 0.0 if last_with_music or len(music) < 2 else (room - used + SYSTEM_GAP) / (len(music) - 1)
        extra = min(max(extra, 0.0), MOST_EXTRA_GAP)
        spread = tuple(
            replace(system, y=system.y + MARGIN + extra * place) for place, system in enumerate(music)
        )
        finished.append((Block(tuple(shapes), used), spread))
    return finished


def _endless(head: Block, placed: Sequence[PlacedSystem], foot: Block, width: float) -> SheetPage:
    """Return everything on one page, as high as it must be."""
    y = MARGIN + head.height
    music = []
    for system in placed:
        music.append(replace(system, y=y))
        y += system.height + SYSTEM_GAP
    shapes = (*moved(head.shapes, MARGIN, MARGIN), *moved(foot.shapes, y, MARGIN))
    return SheetPage(width, y + foot.height + MARGIN, shapes, tuple(music))


def _footer(notice: str, number: int, count: int, width: float, height: float) -> tuple[Shape, ...]:
    """Return the line at the foot of a page."""
    y = height - MARGIN + 6.0
    line = wrapped(notice, 8.0, width - 2 * MARGIN - 60.0, 1)
    return (
        *(Text(MARGIN, y, text, 8.0, TEXT_SOFT, name="footer") for text in line),
        Text(width - MARGIN, y, f"{number} / {count}", 8.0, TEXT_SOFT, "end", name="page number"),
    )
