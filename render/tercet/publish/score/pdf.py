"""A sheet as PDF: text as text in embedded fonts, musical signs as outlines, the same bytes for the same sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from io import BytesIO
from itertools import groupby
from threading import Lock
from typing import Any

from tercet.publish.canvas import Disc, Ink, Path, Shape, Text
from tercet.publish.canvas import Group as Shapes
from tercet.publish.pdf_fonts import Face, face_file, face_name
from tercet.publish.pictures.looks import TEXT
from tercet.publish.score.engraved import Glyph, Group, Lettering, Outline, Part
from tercet.publish.score.engraving_svg import COLOURS, SOFT_COLOUR, SOFT_KINDS
from tercet.publish.score.pages import PlacedSystem, Sheet, SheetPage
from tercet.publish.typefaces import FAMILIES, FontFamily, family_for, visual_order
from tercet.song import LAYERS

__all__ = ["sheet_pdf"]

_registry = Lock()
"""reportlab knows fonts by name for the whole process: one PDF is made at a time."""

_CUTS = {"plain": ("normal", "normal"), "bold": ("bold", "normal"), "italic": ("normal", "italic")}
"""Weight and style of a face."""

_Cut = tuple[FontFamily, str]
"""A family, and plain, bold or italic."""


def sheet_pdf(sheet: Sheet) -> bytes:
    """Return a sheet as the bytes of a PDF file."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    buffer = BytesIO()
    with _registry:
        names: dict[_Cut, str] = {}
        for (family, cut), signs in _signs_by_cut(sheet).items():
            face: Face = (family, *_CUTS[cut])
            names[family, cut] = name = face_name(face, signs)
            if name not in pdfmetrics.getRegisteredFontNames():
                pdfmetrics.registerFont(TTFont(name, BytesIO(face_file(face, signs))))
        canvas = Canvas(
            buffer, invariant=1, pageCompression=1, initialFontName=names[FAMILIES[0], "plain"], lang="en"
        )
        canvas.setTitle(sheet.title)
        canvas.setAuthor(sheet.author)
        canvas.setCreator("Tercet")
        writer = _PageWriter(canvas, names, sheet.signs)
        for page in sheet.pages:
            writer.page(page)
        canvas.save()
    return buffer.getvalue()


def _signs_by_cut(sheet: Sheet) -> dict[_Cut, str]:
    """Return the signs that are used of each face; the usual one is always there."""
    found: dict[_Cut, set[str]] = {(FAMILIES[0], "plain"): set(" ")}
    for page in sheet.pages:
        for text, cut in _texts(page):
            for family, run in _runs(visual_order(text)):
                found.setdefault((family, cut), set(" ")).update(run)
    return {face: "".join(sorted(signs)) for face, signs in found.items()}


def _texts(page: SheetPage) -> Iterator[tuple[str, str]]:
    """Yield every text of a page and its cut."""
    yield from _shape_texts(page.shapes)
    for placed in page.music:
        yield from _part_texts(placed.system.parts)


def _shape_texts(shapes: Sequence[Shape]) -> Iterator[tuple[str, str]]:
    for shape in shapes:
        if isinstance(shape, Text):
            yield shape.text, "bold" if shape.bold else "plain"
        elif isinstance(shape, Shapes):
            yield from _shape_texts(shape.shapes)


def _part_texts(parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    for part in parts:
        if isinstance(part, Lettering):
            yield part.text, part.style
        elif isinstance(part, Group):
            yield from _part_texts(part.parts)


@lru_cache(maxsize=4096)
def _runs(text: str) -> tuple[tuple[FontFamily, str], ...]:
    """Return a text as runs of one family each."""
    if text.isascii():
        return ((FAMILIES[0], text),)
    family = family_for(text)
    if family is FAMILIES[0]:
        return ((family, text),)
    return tuple((each, "".join(run)) for each, run in groupby(text, key=family_for))


@lru_cache(maxsize=4096)
def _segments(path: str) -> tuple[tuple[str, tuple[tuple[float, float], ...]], ...]:
    """Return the pieces of an outline, the name of each and its points: lines and cubic curves are all there is."""
    from fontTools.pens.recordingPen import RecordingPen
    from fontTools.svgLib.path import parse_path

    pen = RecordingPen()
    parse_path(path, pen)
    return tuple(pen.value)


class _PageWriter:
    """Draws pages on a canvas whose y grows downward."""

    def __init__(self, canvas: Any, fonts: Mapping[_Cut, str], signs: Mapping[str, str]) -> None:
        self._canvas, self._fonts = canvas, fonts
        for name, path in sorted(signs.items()):
            canvas.beginForm(f"sign-{name}", -4000, -4000, 8000, 8000)
            self._outline(path, filled=True, stroked=False)
            canvas.endForm()

    def page(self, page: SheetPage) -> None:
        """Draw one page."""
        canvas = self._canvas
        canvas.setPageSize((page.width, page.height))
        canvas.saveState()
        canvas.transform(1, 0, 0, -1, 0, page.height)
        for shape in page.shapes:
            self._shape(shape)
        for placed in page.music:
            self._music(placed)
        canvas.restoreState()
        canvas.showPage()

    # ---- shapes of the page

    def _shape(self, shape: Shape) -> None:
        match shape:
            case Shapes():
                for inner in shape.shapes:
                    self._shape(inner)
            case Text():
                anchor = {"start": 0.0, "middle": 0.5, "end": 1.0}[shape.anchor]
                self._canvas.setFillColor(shape.colour)
                self._text(
                    shape.x, shape.y, shape.size, shape.text, "bold" if shape.bold else "plain", anchor
                )
            case Path():
                path = self._canvas.beginPath()
                path.moveTo(*shape.points[0])
                for point in shape.points[1:]:
                    path.lineTo(*point)
                if shape.closed:
                    path.close()
                self._ink(shape.ink)
                self._canvas.drawPath(path, stroke=bool(shape.ink.stroke), fill=bool(shape.ink.fill))
            case Disc():
                self._ink(shape.ink)
                self._canvas.circle(
                    shape.x, shape.y, shape.radius, stroke=bool(shape.ink.stroke), fill=bool(shape.ink.fill)
                )

    def _ink(self, ink: Ink) -> None:
        canvas = self._canvas
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        if ink.fill:
            canvas.setFillColor(ink.fill)
        if ink.stroke:
            canvas.setStrokeColor(ink.stroke)
            canvas.setLineWidth(ink.width)
        canvas.setDash(*((list(ink.dash),) if ink.dash else ()))

    # ---- music

    def _music(self, placed: PlacedSystem) -> None:
        """Draw a line of music."""
        canvas, scale = self._canvas, placed.scale
        canvas.saveState()
        canvas.transform(scale, 0, 0, scale, placed.x, placed.y - placed.system.top * scale)
        canvas.setLineCap(0)
        canvas.setLineJoin(0)
        canvas.setStrokeColor(TEXT)
        self._parts(placed.system.parts, TEXT)
        canvas.restoreState()

    def _parts(self, parts: Sequence[Part], colour: str) -> None:
        canvas = self._canvas
        for part in parts:
            match part:
                case Group():
                    self._group(part, colour)
                case Glyph():
                    canvas.saveState()
                    canvas.setFillColor(colour)
                    canvas.transform(part.scale, 0, 0, -part.scale, part.x, part.y)
                    canvas.doForm(f"sign-{part.sign}")
                    canvas.restoreState()
                case Outline():
                    canvas.setFillColor(colour)
                    canvas.setLineWidth(part.width)
                    self._outline(part.path, filled=part.filled, stroked=part.width > 0)
                case Lettering():
                    canvas.setFillColor(SOFT_COLOUR if part.kind in SOFT_KINDS else colour)
                    self._text(part.x, part.y, part.size, part.text, part.style, part.anchor)

    def _group(self, group: Group, colour: str) -> None:
        layer = next((word for word in group.classes if word in LAYERS), None)
        inner = COLOURS[layer] if layer else colour
        if not group.turned:
            self._parts(group.parts, inner)
            return
        angle, x, y = group.turned
        self._canvas.saveState()
        self._canvas.translate(x, y)
        self._canvas.rotate(angle)
        self._canvas.translate(-x, -y)
        self._parts(group.parts, inner)
        self._canvas.restoreState()

    # ---- both

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

    def _text(self, x: float, y: float, size: float, text: str, cut: str, anchor: float) -> None:
        """Draw a text on the baseline y, run by run."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        runs = [(self._fonts[family, cut], run) for family, run in _runs(visual_order(text))]
        widths = [stringWidth(run, name, size) for name, run in runs]
        x -= anchor * sum(widths)
        drawn = self._canvas.beginText()
        for (name, run), width in zip(runs, widths, strict=True):
            drawn.setTextTransform(1, 0, 0, -1, x, y)
            drawn.setFont(name, size)
            drawn.textOut(run)
            x += width
        self._canvas.drawText(drawn)
