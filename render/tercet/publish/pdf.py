"""From SVG to PDF: one page a picture, text as text, fonts embedded, the same bytes for the same pictures.

The SVG must be made of plain shapes, paths and text (no filters, no pictures from outside). Of each font only the signs
that are used go into the file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from io import BytesIO
from itertools import groupby
from threading import Lock
from typing import TYPE_CHECKING, Any

from tercet.errors import ParameterError
from tercet.publish.pdf_fonts import Face, face_file, face_name
from tercet.publish.typefaces import FAMILIES, FontFamily, family_for, visual_order, without_font

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

__all__ = ["POINTS_PER_UNIT", "pdf_bytes"]

"""Pages upright, in points of 1/72 inch."""

POINTS_PER_UNIT = 0.75
"""A unit of an SVG is 1/96 inch."""

BOLD_FROM = 600
"""Weights from here on are set in bold."""

_FAMILY = re.compile(r"(font-family\s*:\s*)([^;}]+)")
_WEIGHT = re.compile(r"(font-weight\s*:\s*)(\d+)")
_TEXT_TAGS = frozenset({"text", "tspan"})

_registry = Lock()
"""svglib and reportlab know fonts by name for the whole process: one PDF is made at a time."""


def pdf_bytes(
    svgs: Sequence[str],
    *,
    title: str,
    author: str = "",
    page_pt: tuple[float, float] | None = None,
    margin_pt: float = 0.0,
) -> bytes:
    """Return pictures as a PDF, one a page.

    Parameters
    ----------
    svgs
        The pages as SVG text with width and height, or a view box.
    title, author
        For the file's properties.
    page_pt
        Width and height of the paper in points; each picture is then made as large as fits, and centred. Without it a
        page is as large as its picture at 96 units an inch.
    margin_pt
        Kept free on all sides of the paper.

    Raises
    ------
    ParameterError
        There is no picture, or one isn't SVG.
    """
    from reportlab.pdfgen.canvas import Canvas

    if not svgs:
        raise ParameterError("a PDF must have at least one page (got none)")
    roots = [_read(svg) for svg in svgs]
    faces = _faces(roots)
    buffer = BytesIO()
    with _registry:
        names = {face: _register(face, signs) for face, signs in faces.items()}
        first = names[FAMILIES[0], "normal", "normal"]
        canvas = Canvas(buffer, invariant=1, initialFontName=first, pageCompression=1)
        canvas.setTitle(title)
        canvas.setAuthor(author)
        canvas.setCreator("Tercet")
        for root in roots:
            drawing = _drawn(root)
            drawing.initialFontName = first
            _draw_page(canvas, drawing, page_pt, margin_pt)
        canvas.save()
    return buffer.getvalue()


# ---- reading and dressing the SVG


def _read(svg: str) -> Element:
    """Return a picture's tree; its text is set in our families, signs from left to right as seen."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import ParseError, fromstring

    try:
        root: Element = fromstring(svg.encode())
    except (ParseError, DefusedXmlException) as error:
        raise ParameterError(f"a page must be SVG ({error})") from None
    if _local(root) != "svg":
        raise ParameterError(f"a page must be SVG (got <{_local(root)}>)")
    for element in root.iter():
        _name_fonts(element)
    for element in list(_texts(root)):
        _set_runs(element)
    return root


def _name_fonts(element: Element) -> None:
    """Give an element's attributes, or a style sheet, the families and weights that we register."""
    if family := element.get("font-family"):
        element.set("font-family", _our_family(family))
    if weight := element.get("font-weight"):
        element.set("font-weight", _our_weight(weight))
    if style := element.get("style"):
        element.set("style", _our_style(style))
    if _local(element) == "style":
        element.text = _our_style(element.text or "")


def _our_style(css: str) -> str:
    css = _FAMILY.sub(lambda match: f"{match[1]}'{_our_family(match[2])}'", css)
    return _WEIGHT.sub(lambda match: match[1] + _our_weight(match[2]), css)


def _our_family(asked: str) -> str:
    names = [name.strip().strip("\"'") for name in asked.split(",")]
    return next((family.name for family in FAMILIES if family.name in names), FAMILIES[0].name)


def _our_weight(asked: str) -> str:
    return ("bold" if int(asked) >= BOLD_FROM else "normal") if asked.isdigit() else asked


def _set_runs(element: Element) -> None:
    """Set an element's own text in the family that has it; where none has it all, run by run."""
    from xml.etree.ElementTree import SubElement

    for child in element:
        child.tail = visual_order(child.tail) if child.tail else child.tail
    element.text = text = visual_order(element.text or "")
    family = family_for(_own_text(element))
    if family is not FAMILIES[0]:
        element.set("font-family", family.name)
    if len(element) or not without_font((text,), (family,)):
        return
    element.text = ""
    for run_family, run in groupby(text, key=family_for):
        tag = str(element.tag).replace("}text", "}tspan")
        SubElement(element, tag, {"font-family": run_family.name}).text = "".join(run)


def _own_text(element: Element) -> str:
    return "".join([element.text or "", *(child.tail or "" for child in element)])


def _texts(root: Element) -> Iterator[Element]:
    return (element for element in root.iter() if _local(element) in _TEXT_TAGS)


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


# ---- fonts


def _faces(roots: Sequence[Element]) -> dict[Face, str]:
    """Return the faces that may be used, each with all signs of its family.

    Weights and styles may come from a style sheet too, so a face is there if its weight and style are named anywhere.
    """
    from xml.etree.ElementTree import tostring

    signs: dict[FontFamily, set[str]] = {FAMILIES[0]: set(" ")}
    known = {family.name: family for family in FAMILIES}
    for root in roots:
        for element in _texts(root):
            family = known.get(element.get("font-family", ""), FAMILIES[0])
            signs.setdefault(family, set()).update(_own_text(element))
    whole = "".join(tostring(root, encoding="unicode") for root in roots)
    bold = re.search(r"font-weight\s*[:=]\s*[\"']?\s*bold", whole) is not None
    italic = re.search(r"font-style\s*[:=]\s*[\"']?\s*(italic|oblique)", whole) is not None
    return {
        (family, weight, style): "".join(sorted(used))
        for family, used in signs.items()
        for weight in ("normal", *("bold",) * bold)
        for style in ("normal", *("italic",) * italic)
    }


def _register(face: Face, signs: str) -> str:
    """Make a face known to svglib and reportlab under its family, weight and style; return its name there."""
    from svglib.fonts import register_font

    family, weight, style = face
    name = face_name(face, signs)
    made: Any = BytesIO(face_file(face, signs))  # a path or a file: reportlab takes either
    register_font(family.name, made, weight, style, name)
    return name


# ---- pages


def _drawn(root: Element) -> Any:
    """Return a picture as a reportlab drawing."""
    from xml.etree.ElementTree import tostring

    from svglib.svglib import svg2rlg

    drawing = svg2rlg(BytesIO(tostring(root)))
    if drawing is None or drawing.width <= 0 or drawing.height <= 0:
        raise ParameterError("a page must have a width and a height")
    return drawing


def _draw_page(canvas: Any, drawing: Any, page_pt: tuple[float, float] | None, margin_pt: float) -> None:
    """Draw one picture on a page of its own."""
    from reportlab.graphics import renderPDF

    width, height = page_pt or (drawing.width, drawing.height)
    scale = min((width - 2.0 * margin_pt) / drawing.width, (height - 2.0 * margin_pt) / drawing.height)
    canvas.setPageSize((width, height))
    canvas.saveState()
    canvas.translate((width - scale * drawing.width) / 2.0, (height - scale * drawing.height) / 2.0)
    canvas.scale(scale, scale)
    renderPDF.draw(drawing, canvas, 0, 0)
    canvas.restoreState()
    canvas.showPage()
