"""The fonts of a PDF: of each font only the signs that are used, as TrueType outlines of one weight."""

from __future__ import annotations

from hashlib import sha256
from io import BytesIO
from typing import Any

from tercet.publish.typefaces import FontFamily

__all__ = ["Face", "face_file", "face_name"]

Face = tuple[FontFamily, str, str]
"""A family, its weight (normal or bold) and its style (normal or italic)."""


def face_name(face: Face, signs: str) -> str:
    """Return a name that no other choice of signs has: reportlab keeps the first font of a name for good."""
    family, weight, style = face
    cut = "".join(part.title() for part in (weight, style) if part != "normal") or "Regular"
    return f"{family.name.replace(' ', '')}-{cut}-{sha256(signs.encode()).hexdigest()[:12]}"


def face_file(face: Face, signs: str) -> bytes:
    """Return a TrueType file with some signs of a family at one weight, under a name of its own."""
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont
    from fontTools.varLib.instancer import instantiateVariableFont

    family, weight, style = face
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
            axes |= {"wght": 700.0 if weight == "bold" else 400.0} | (
                {"wdth": 100.0} if "wdth" in axes else {}
            )
            instantiateVariableFont(font, axes, inplace=True)
        if "CFF " in font:
            _with_quadratic_outlines(font)
        for number in (1, 4, 6):
            font["name"].setName(face_name(face, signs), number, 3, 1, 0x409)
        made = BytesIO()
        font.save(made)
    return made.getvalue()


def _with_quadratic_outlines(font: Any) -> None:
    """Turn a font's cubic outlines into TrueType's quadratic ones, within a thousandth of an em."""
    from fontTools.pens.cu2quPen import Cu2QuPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen
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
