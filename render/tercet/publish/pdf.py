"""Shapes as PDF: text as text in embedded fonts, the same bytes for the same drawings.

Of each font only the signs that are used go into the file, as TrueType outlines of one weight.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from io import BytesIO
from itertools import groupby
from pathlib import Path as FilePath
from threading import Lock
from typing import Any

from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.recordingPen import RecordingPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.svgLib.path import parse_path

from tercet.errors import ParameterError
from tercet.publish.shapes import (
    ANCHOR_PART,
    Disc,
    Drawing,
    Group,
    Ink,
    Outline,
    Path,
    Shape,
    Sign,
    Style,
    Text,
    texts_in,
)
from tercet.publish.typefaces import FAMILIES, FontFamily, family_for, visual_order

__all__ = [
    "PIXEL_PT",
    "BookPage",
    "Bookmark",
    "Face",
    "Link",
    "Side",
    "pdf_bytes",
    "signs_by_face",
    "write_book",
]

PIXEL_PT = 0.75
"""A CSS pixel, the unit of pictures, is 1/96 inch; a point is 1/72."""

WHITE = "#ffffff"
"""The paper itself: not drawn."""

_registry = Lock()
"""reportlab knows fonts by name for the whole process: one PDF is made at a time."""

Face = tuple[FontFamily, Style]
"""A family, and plain, bold or italic."""


@dataclass(frozen=True, slots=True)
class Link:
    """A box of a page, in the units of its drawing, that leads to another page, counted from 0."""

    left: float
    top: float
    right: float
    bottom: float
    to_page: int


@dataclass(frozen=True, slots=True)
class Bookmark:
    """A line of what a reader shows beside the pages: where it leads, and how deep it stands, from 0."""

    title: str
    page: int
    level: int = 0


@dataclass(frozen=True, slots=True)
class BookPage:
    """A page of a book: what is drawn, and what leads elsewhere."""

    drawing: Drawing
    links: tuple[Link, ...] = ()


Side = tuple[int | None, ...]
"""What a side of paper holds: pages beside each other, counted from 0; None where there is none."""


def pdf_bytes(
    drawings: Sequence[Drawing],
    *,
    title: str,
    author: str = "",
    unit_pt: float = PIXEL_PT,
    page_pt: tuple[float, float] | None = None,
    margin_pt: float = 0.0,
) -> bytes:
    """Return drawings as the bytes of a PDF file, one a page.

    Parameters
    ----------
    drawings
        At least one. They share their musical signs: one name is one outline.
    title, author
        For the file's properties.
    unit_pt
        Points of 1/72 inch to a drawing's unit, where a page is as large as its drawing.
    page_pt
        Width and height of the paper in points; each drawing is then made as large as fits, and centred.
    margin_pt
        Kept free on all sides of that paper.

    Raises
    ------
    ParameterError
        There is no drawing.
    """
    if not drawings:
        raise ParameterError("a PDF must have at least one page (got none)")
    buffer = BytesIO()
    with _writing(buffer, signs_by_face(drawings), title, author) as writer:
        writer.learn({name: path for each in drawings for name, path in each.signs.items()})
        for drawing in drawings:
            paper = page_pt or (drawing.width * unit_pt, drawing.height * unit_pt)
            writer.side(paper)
            writer.draw(drawing, (0.0, 0.0), paper, margin_pt)
            writer.turn()
    return buffer.getvalue()


def write_book(
    path: FilePath,
    page_at: Callable[[int], BookPage],
    sides: Sequence[Side],
    signs: Mapping[Face, Collection[str]],
    *,
    title: str,
    author: str = "",
    bookmarks: Sequence[Bookmark] = (),
    told: Callable[[int], None] = lambda _: None,
) -> None:
    """Write a book as a PDF file, page by page: only one is held at a time.

    Parameters
    ----------
    path
        The file.
    page_at
        Returns a page by its number from 0, drawn a unit a point; called once for each number on `sides`.
    sides
        What lies on each side of paper, in order; all pages are equally large.
    signs
        All signs of the pages by face, as `signs_by_face` returns them; more do no harm.
    title, author
        For the file's properties.
    bookmarks
        In their order. A book that has them opens with them beside it.
    told
        Told of each side that is written, how many there are so far.

    Raises
    ------
    ParameterError
        There is no side.
    """
    if not sides:
        raise ParameterError("a book must have at least one page (got none)")
    with _writing(str(path), signs, title, author) as writer:
        first = page_at(next(page for side in sides for page in side if page is not None)).drawing
        size = first.width, first.height
        marks: dict[int, list[str]] = {}
        for number, mark in enumerate(bookmarks):
            marks.setdefault(mark.page, []).append(_mark(number))
        for number, side in enumerate(sides, 1):
            pages = [None if index is None else page_at(index) for index in side]
            writer.learn({name: path for page in pages if page for name, path in page.drawing.signs.items()})
            writer.side((size[0] * len(side), size[1]))
            for column, (index, page) in enumerate(zip(side, pages, strict=True)):
                if index is not None and page is not None:
                    corner = size[0] * column, 0.0
                    writer.draw(page.drawing, corner, size)
                    names = (_place(index), *marks.get(index, ()))
                    writer.lead(names, page.links, corner, size, alone=len(side) == 1)
            writer.turn()
            told(number)
        writer.mark(bookmarks)


@contextmanager
def _writing(
    target: BytesIO | str, signs: Mapping[Face, Collection[str]], title: str, author: str
) -> Iterator[_Writer]:
    """Give what writes the pages of a PDF; the file is whole when it is left without an error."""
    from reportlab.pdfgen.canvas import Canvas

    with _registry:
        usual: Face = (FAMILIES[0], "plain")
        fonts = {
            face: _registered(face, "".join(sorted({" ", *found})))
            for face, found in {usual: " ", **signs}.items()
        }
        canvas = Canvas(target, invariant=1, pageCompression=1, initialFontName=fonts[usual], lang="en")
        canvas.setTitle(title)
        canvas.setAuthor(author)
        canvas.setCreator("Tercet")
        yield _Writer(canvas, fonts)
        canvas.save()


class _Writer:
    """Draws pages on a canvas whose y grows downward."""

    def __init__(self, canvas: Any, fonts: dict[Face, str]) -> None:
        self._canvas, self._fonts = canvas, fonts
        self._held: tuple[object, ...] | None = None
        self._signs: set[str] = set()

    def learn(self, signs: Mapping[str, str]) -> None:
        """Keep musical signs that are new; between two sides only."""
        for name, path in sorted(signs.items()):
            if name not in self._signs:
                self._signs.add(name)
                self._canvas.beginForm(f"sign-{name}", -4000, -4000, 8000, 8000)
                self._held = None
                self._outline(path, filled=True, stroked=False)
                self._canvas.endForm()

    def side(self, paper_pt: tuple[float, float]) -> None:
        """Begin a side of paper."""
        self._canvas.setPageSize(paper_pt)

    def turn(self) -> None:
        """End a side of paper."""
        self._canvas.showPage()

    def draw(
        self,
        drawing: Drawing,
        corner: tuple[float, float],
        room_pt: tuple[float, float],
        margin_pt: float = 0.0,
    ) -> None:
        """Draw a drawing as large as fits, in the middle of some room whose lower left corner is given."""
        canvas, (width, height) = self._canvas, room_pt
        scale = min((width - 2 * margin_pt) / drawing.width, (height - 2 * margin_pt) / drawing.height)
        left, top = (width - scale * drawing.width) / 2, (height - scale * drawing.height) / 2
        self._held = None
        canvas.saveState()
        canvas.transform(scale, 0, 0, -scale, corner[0] + left, corner[1] + height - top)
        if drawing.background != WHITE:
            canvas.setFillColor(drawing.background)
            canvas.rect(0, 0, drawing.width, drawing.height, stroke=0, fill=1)
        for shape in drawing.shapes:
            self._shape(shape, drawing.ink, drawing.ink)
        canvas.restoreState()

    def lead(
        self,
        names: Sequence[str],
        links: Sequence[Link],
        corner: tuple[float, float],
        size: tuple[float, float],
        *,
        alone: bool,
    ) -> None:
        """Make a page that was drawn one that can be led to by some names, and its links lead."""
        canvas, (x, y), (width, height) = self._canvas, corner, size
        box = {"fit": "FitR", "left": x, "bottom": y, "right": x + width, "top": y + height}
        for name in names:
            canvas.bookmarkPage(name, **({} if alone else box))
        for link in links:
            around = x + link.left, y + height - link.bottom, x + link.right, y + height - link.top
            canvas.linkRect("", _place(link.to_page), around, relative=0, thickness=0)

    def mark(self, bookmarks: Sequence[Bookmark]) -> None:
        """List bookmarks beside the pages."""
        for number, mark in enumerate(bookmarks):
            self._canvas.addOutlineEntry(mark.title, _mark(number), mark.level, closed=1)
        if bookmarks:
            self._canvas.showOutline()

    def _shape(self, shape: Shape, fill: str, stroke: str) -> None:
        """Draw a shape; areas and lines without a colour of their own are in those around."""
        canvas = self._canvas
        match shape:
            case Group():
                self._group(shape, shape.colour or fill, stroke)
            case Text():
                canvas.setFillColor(shape.colour or fill)
                self._text(shape)
            case Path():
                path = canvas.beginPath()
                path.moveTo(*shape.points[0])
                for point in shape.points[1:]:
                    path.lineTo(*point)
                if shape.closed:
                    path.close()
                canvas.drawPath(path, **self._inked(shape.ink))
            case Disc():
                canvas.circle(shape.x, shape.y, shape.radius, **self._inked(shape.ink))
            case Outline():
                canvas.setFillColor(fill)
                self._pen(stroke, shape.width, ends=0)
                self._outline(shape.path, filled=shape.filled, stroked=shape.width > 0)
            case Sign():
                canvas.saveState()
                canvas.setFillColor(fill)
                canvas.transform(shape.scale, 0, 0, -shape.scale, shape.x, shape.y)
                canvas.doForm(f"sign-{shape.sign}")
                canvas.restoreState()

    def _group(self, group: Group, fill: str, stroke: str) -> None:
        canvas, moved = self._canvas, group.placing or group.turned
        if moved:
            canvas.saveState()
        if group.placing:
            canvas.translate(group.placing.x, group.placing.y)
            canvas.scale(group.placing.scale, group.placing.scale)
        if group.turned:
            angle, x, y = group.turned
            canvas.translate(x, y)
            canvas.rotate(angle)
            canvas.translate(-x, -y)
        for shape in group.shapes:
            self._shape(shape, fill, stroke)
        if moved:
            canvas.restoreState()
            self._held = None

    def _inked(self, ink: Ink) -> dict[str, bool]:
        """Take an ink; return whether to draw the line and the area."""
        if ink.fill:
            self._canvas.setFillColor(ink.fill)
        if ink.stroke:
            self._pen(ink.stroke, ink.width, ends=1, dash=ink.dash)
        return {"stroke": bool(ink.stroke), "fill": bool(ink.fill)}

    def _pen(self, colour: str, width: float, *, ends: int, dash: Sequence[float] = ()) -> None:
        """Take a pen; its ends and corners are square (0) or round (1)."""
        canvas, pen = self._canvas, (colour, width, ends, *dash)
        if pen == self._held:
            return
        self._held = pen
        canvas.setStrokeColor(colour)
        canvas.setLineWidth(width)
        canvas.setLineCap(ends)
        canvas.setLineJoin(ends)
        canvas.setDash(list(dash))

    def _outline(self, path: str, *, filled: bool, stroked: bool) -> None:
        drawn = self._canvas.beginPath()
        for name, points in _segments(path):
            match name:
                case "moveTo":
                    drawn.moveTo(*points[0])
                case "lineTo":
                    drawn.lineTo(*points[0])
                case "curveTo":
                    drawn.curveTo(*(number for point in points for number in point))
                case "closePath":
                    drawn.close()
        self._canvas.drawPath(drawn, stroke=stroked, fill=filled, fillMode=1)

    def _text(self, text: Text) -> None:
        """Draw a text on its baseline, run by run."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        runs = [(self._fonts[family, text.style], run) for family, run in _runs(visual_order(text.text))]
        widths = [stringWidth(run, name, text.size) for name, run in runs]
        x = text.x - ANCHOR_PART[text.anchor] * sum(widths)
        drawn = self._canvas.beginText()
        for (name, run), width in zip(runs, widths, strict=True):
            drawn.setTextTransform(1, 0, 0, -1, x, text.y)
            drawn.setFont(name, text.size)
            drawn.textOut(run)
            x += width
        self._canvas.drawText(drawn)


@lru_cache(maxsize=4096)
def _segments(path: str) -> tuple[tuple[str, tuple[tuple[float, float], ...]], ...]:
    """Return the pieces of an outline, the name of each and its points: lines and cubic curves are all there is."""
    pen = RecordingPen()
    parse_path(path, pen)
    return tuple(pen.value)


def _place(page: int) -> str:
    """Return the name under which a page is led to."""
    return f"page-{page}"


def _mark(number: int) -> str:
    """Return the name of the place of a bookmark: the writer keeps one title for each name."""
    return f"mark-{number}"


# ---- fonts


def signs_by_face(drawings: Iterable[Drawing]) -> dict[Face, set[str]]:
    """Return the signs that drawings use of each face."""
    found: dict[Face, set[str]] = {}
    for text in (text for drawing in drawings for text in texts_in(drawing.shapes)):
        for family, run in _runs(visual_order(text.text)):
            found.setdefault((family, text.style), set()).update(run)
    return found


@lru_cache(maxsize=4096)
def _runs(text: str) -> Sequence[tuple[FontFamily, str]]:
    """Return a text as runs of one family each."""
    family = FAMILIES[0] if text.isascii() else family_for(text)
    if family is FAMILIES[0]:
        return ((family, text),)
    return tuple((each, "".join(run)) for each, run in groupby(text, key=family_for))


def _registered(face: Face, signs: str) -> str:
    """Make a face known to reportlab; return its name there."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name = _face_name(face, signs)
    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, BytesIO(_face_file(face, signs))))
    return name


def _face_name(face: Face, signs: str) -> str:
    """Return a name that no other choice of signs has: reportlab keeps the first font of a name for good."""
    family, style = face
    cut = "Regular" if style == "plain" else style.title()
    return f"{family.name.replace(' ', '')}-{cut}-{sha256(signs.encode()).hexdigest()[:12]}"


def _face_file(face: Face, signs: str) -> bytes:
    """Return a TrueType file with some signs of a family at one weight, under a name of its own."""
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont
    from fontTools.varLib.instancer import instantiateVariableFont

    family, style = face
    with TTFont(family.path(italic=style == "italic"), lazy=True, recalcTimestamp=False) as font:
        for table in ("GSUB", "GPOS", "GDEF", "MVAR", "STAT", "DSIG", "BASE", "VORG", "vhea", "vmtx"):
            if table in font:
                del font[table]
        options = Options(layout_features=[], notdef_outline=True, hinting=False, name_IDs=[1, 2, 4, 6])
        subsetter = Subsetter(options)
        subsetter.populate(text=signs)
        subsetter.subset(font)
        if "fvar" in font:
            axes = {axis.axisTag: axis.defaultValue for axis in font["fvar"].axes}
            axes |= {"wght": 700.0 if style == "bold" else 400.0}
            axes |= {"wdth": 100.0} if "wdth" in axes else {}
            instantiateVariableFont(font, axes, inplace=True)
        if "CFF " in font:
            _with_quadratic_outlines(font)
        for number in (1, 4, 6):
            font["name"].setName(_face_name(face, signs), number, 3, 1, 0x409)
        made = BytesIO()
        font.save(made)
    return made.getvalue()


def _with_quadratic_outlines(font: Any) -> None:
    """Turn a font's cubic outlines into TrueType's quadratic ones, within a thousandth of an em."""
    from fontTools.ttLib import newTable

    order, outlines = font.getGlyphOrder(), font.getGlyphSet()
    glyphs = {}
    for name in order:
        pen = TTGlyphPen(None)
        outlines[name].draw(Cu2QuPen(pen, font["head"].unitsPerEm / 1000, reverse_direction=True))
        glyphs[name] = pen.glyph()
    font["loca"] = newTable("loca")
    font["glyf"] = table = newTable("glyf")
    table.glyphOrder, table.glyphs = order, glyphs
    del font["CFF "]
    font["maxp"].tableVersion = 0x00010000
    for field in ("maxZones", "maxComponentElements", "maxSizeOfInstructions"):
        setattr(font["maxp"], field, 1)
    for field in ("maxTwilightPoints", "maxStorage", "maxFunctionDefs", "maxInstructionDefs"):
        setattr(font["maxp"], field, 0)
    font["maxp"].maxStackElements = 0
    font["post"].formatType = 3.0
    font.sfntVersion = "\x00\x01\x00\x00"
