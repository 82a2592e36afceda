"""Pages of a sheet: its head, lines of music that are never broken, its foot.

Lengths on a page are in points of 1/72 inch, x to the right and y down from the upper left corner.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import ceil

from tercet.arranging import Arrangement
from tercet.publish.paragraphs import wrapped
from tercet.publish.pdf import WHITE, pdf_bytes
from tercet.publish.picture_files import PAPERS_PT, USUAL_PAPER
from tercet.publish.pictures.looks import TEXT, TEXT_SOFT
from tercet.publish.score.elements import ScoreLook
from tercet.publish.score.engraving import Engraving, engrave
from tercet.publish.score.finished_lines import System
from tercet.publish.score.head_and_foot import Block, sheet_foot, sheet_head
from tercet.publish.shapes import Anchor, Drawing, Group, Placing, Shape, Text, texts_in
from tercet.publish.svg import svg_text
from tercet.song import Song
from tercet.wording import counted

__all__ = [
    "Sheet",
    "SheetLook",
    "foot_notice",
    "margin_of",
    "page_foot",
    "sheet_of",
    "sheet_pdf",
    "sheet_svg",
]

MOST_PAGES_FITTED = 5
"""Longer sheets take the largest size: one page less hardly matters."""

MARGIN, MARGIN_SMALL = 38.0, 28.0
NARROW = 500.0
"""Paper up to this width has the small margin, and shorter lines of music: it is held nearer to the eye."""

FOOTER = 18.0
"""Room under the music for the title and the page's number."""

SYSTEM_GAP = 11.0
MOST_EXTRA_GAP = 22.0
"""Between lines of music; a page that is nearly full is filled by wider gaps."""

WIDTHS, WIDTHS_LARGE = (1950, 2150, 2400), (1250, 1400)
WIDTHS_NARROW, WIDTHS_LARGE_NARROW = (1450, 1600, 1750), (1000, 1100)
"""Lengths that a line of music may have, in the engraver's units: the fewer, the larger the music."""

TOLERANCE = 0.004
"""Of a line's width: bar lines are drawn half outside, which makes no line smaller than the others."""


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
    in_book
        As pages of a book, which says at its beginning how to read it, and numbers its pages: `page_foot`.
    """

    paper: str | None = USUAL_PAPER
    large: bool = False
    left_handed: bool = False
    in_book: bool = False

    @property
    def widths(self) -> tuple[int, ...]:
        """The lengths that lines of music may have."""
        if PAPERS_PT[self.paper or USUAL_PAPER][0] <= NARROW:
            return WIDTHS_LARGE_NARROW if self.large else WIDTHS_NARROW
        return WIDTHS_LARGE if self.large else WIDTHS


@dataclass(frozen=True, slots=True)
class _PlacedSystem:
    """A line of music on a page: where its box's upper left corner lies, and points for each fine unit."""

    system: System
    x: float
    y: float
    scale: float

    @property
    def height(self) -> float:
        """How high it is on the page."""
        return self.system.height * self.scale

    @property
    def shape(self) -> Group:
        """What is drawn."""
        placing = Placing(self.x, self.y - self.system.top * self.scale, self.scale)
        return Group(self.system.shapes, "system", placing=placing)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet: its pages, drawn a unit a point; what it is called; how high its text and its music are, in points."""

    pages: tuple[Drawing, ...]
    title: str
    author: str
    text_height: float = 0.0
    music_height: float = 0.0

    @property
    def texts(self) -> tuple[str, ...]:
        """All text on its pages."""
        return tuple(text.text for page in self.pages for text in texts_in(page.shapes))


def sheet_pdf(sheet: Sheet) -> bytes:
    """Return a sheet as the bytes of a PDF file."""
    return pdf_bytes(sheet.pages, title=sheet.title, author=sheet.author, unit_pt=1.0)


def sheet_svg(sheet: Sheet, page_index: int = 0) -> str:
    """Return a page of a sheet as the text of an SVG file; a sheet laid out endless has all on its first."""
    return svg_text(sheet.pages[page_index])


def sheet_of(arrangement: Arrangement, look: SheetLook = SheetLook()) -> Sheet:
    """Lay out the sheet of an arrangement, its music in the largest size that needs the fewest pages."""
    first, *smaller = look.widths
    best, width = _laid_out(arrangement, look, first), first
    for narrower in smaller:
        if look.paper is None or not _may_shorten(best, width / narrower):
            continue
        other = _laid_out(arrangement, look, narrower)
        if len(other.pages) < len(best.pages):
            best, width = other, narrower
    return best


def _may_shorten(sheet: Sheet, scale: float) -> bool:
    """Whether a sheet might need fewer pages if its music were smaller, told without engraving it."""
    if len(sheet.pages) > MOST_PAGES_FITTED:
        return False
    room = sheet.pages[0].height - 2 * margin_of(sheet.pages[0].width) - FOOTER
    return ceil((sheet.text_height + sheet.music_height * scale - SYSTEM_GAP) / room) < len(sheet.pages)


def _laid_out(arrangement: Arrangement, look: SheetLook, line_width: int) -> Sheet:
    """Return the sheet with lines of music of a length in the engraver's units."""
    engraving = engrave(arrangement, ScoreLook(tune=not look.large, width=line_width))
    width, height = PAPERS_PT[look.paper or USUAL_PAPER]
    margin = margin_of(width)
    inner = width - 2 * margin
    head = sheet_head(
        arrangement, engraving.score.form, inner, left_handed=look.left_handed, large=look.large
    )
    foot = Block((), 0.0) if look.in_book else sheet_foot(arrangement, inner, large=look.large)
    song = arrangement.song

    def drawn(shapes: Iterable[Shape], music: Sequence[_PlacedSystem], height: float) -> Drawing:
        bars = sum(len(placed.system.bars) for placed in music)
        description = (
            f"A tune on a staff with words, and a tab of four lines under it: {counted(bars, 'bar')}."
        )
        everything = (*shapes, *(placed.shape for placed in music))
        return Drawing(width, height, everything, WHITE, song.title, description, TEXT, engraving.signs)

    if look.paper is None:
        return Sheet(
            (drawn(*_endless(head, _sized(engraving, inner, float("inf"), margin), foot)),),
            song.title,
            song.composer,
        )
    room = height - 2 * margin - FOOTER
    placed = _sized(engraving, inner, room, margin)
    pages = _broken(head, placed, foot, room, margin)
    notice = foot_notice(song)
    drawings = tuple(
        drawn(
            (
                block.at(margin, margin),
                *(() if look.in_book else page_foot(notice, f"{number} / {len(pages)}", width, height)),
            ),
            music,
            height,
        )
        for number, (block, music) in enumerate(pages, 1)
    )
    music_height = sum(system.height + SYSTEM_GAP for system in placed)
    return Sheet(drawings, song.title, song.composer, head.height + foot.height, music_height)


def foot_notice(song: Song) -> str:
    """Return what stands at the foot of each page of a song: what it is called, and who may copy it."""
    return " · ".join(part for part in (song.title, song.licence) if part)


def margin_of(width: float) -> float:
    """Return the margin of a paper, by its width."""
    return MARGIN_SMALL if width <= NARROW else MARGIN


def _sized(engraving: Engraving, inner: float, room: float, margin: float) -> list[_PlacedSystem]:
    """Return the lines of music at their size: all alike, but smaller one that is too wide or too high for a page."""
    placed = []
    for system in engraving.systems:
        scale = min(
            inner / (engraving.width * (1.0 + TOLERANCE)),
            inner / system.width,
            room / max(system.height, 1.0),
        )
        placed.append(_PlacedSystem(system, margin - min(system.left, 0.0) * scale, 0.0, scale))
    return placed


def _broken(
    head: Block, placed: Sequence[_PlacedSystem], foot: Block, room: float, margin: float
) -> list[tuple[Block, tuple[_PlacedSystem, ...]]]:
    """Return for each page its text and its lines of music."""
    pages: list[tuple[list[Shape], list[_PlacedSystem], float]] = [(list(head.shapes), [], head.height)]
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
        shapes.append(foot.at(0.0, room - foot.height))
        pages[-1] = (shapes, music, room)
    finished = []
    for index, (shapes, music, used) in enumerate(pages):
        last_with_music = index == len(pages) - 1 or not pages[index + 1][1]
        extra = 0.0 if last_with_music or len(music) < 2 else (room - used + SYSTEM_GAP) / (len(music) - 1)
        extra = min(max(extra, 0.0), MOST_EXTRA_GAP)
        spread = tuple(
            replace(system, y=system.y + margin + extra * place) for place, system in enumerate(music)
        )
        finished.append((Block(tuple(shapes), used), spread))
    return finished


def _endless(
    head: Block, placed: Sequence[_PlacedSystem], foot: Block
) -> tuple[tuple[Shape, ...], list[_PlacedSystem], float]:
    """Return the text and the music of one page, and how high it must be."""
    y = MARGIN + head.height
    music = []
    for system in placed:
        music.append(replace(system, y=y))
        y += system.height + SYSTEM_GAP
    shapes = (head.at(MARGIN, MARGIN), foot.at(MARGIN, y))
    return shapes, music, y + foot.height + MARGIN


def page_foot(
    notice: str, number: str, width: float, height: float, *, left_hand: bool = False
) -> tuple[Text, ...]:
    """Return the line at the foot of a page: its number on the outer side, on the left of a left-hand page."""
    margin = margin_of(width)
    y = height - margin + 6.0
    inner, outer = (width - margin, margin) if left_hand else (margin, width - margin)
    ends: tuple[Anchor, Anchor] = ("end", "start") if left_hand else ("start", "end")
    line = wrapped(notice, 8.0, width - 2 * margin - 60.0, 1)
    return (
        *(Text(inner, y, text, 8.0, TEXT_SOFT, ends[0], name="footer") for text in line),
        Text(outer, y, number, 8.0, TEXT_SOFT, ends[1], name="page number"),
    )
