"""Fonts for text in any script: which font has a letter, how wide it is, and small fonts of just the letters used.

Latin, Greek and Cyrillic come with Tercet, and so do Hebrew and Arabic. Fonts for Chinese, Japanese and Korean are large
and are used where they are installed (``pip install "tercet[cjk]"``). A letter that no font has is shown as a box, and
said.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from importlib.util import find_spec
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from fontTools.ttLib import TTFont

__all__ = ["FONTS", "Face", "Run", "Style", "font_bytes", "missing_letters", "runs_of", "text_width_em"]

Style = Literal["plain", "bold", "italic"]


@dataclass(frozen=True, slots=True)
class Face:
    """A font and where it comes from.

    Parameters
    ----------
    family
        Its name in files.
    package
        The Python package that brings it.
    upright, slanted
        Names of its files within the package; without a slanted one the upright one serves.
    variable
        Whether one file holds all weights.
    """

    family: str
    package: str
    upright: str
    slanted: str = ""
    variable: bool = True

    @property
    def installed(self) -> bool:
        """Whether the package is there."""
        return find_spec(self.package) is not None


FONTS: tuple[Face, ...] = (
    Face(
        "Noto Sans",
        "fontpkg_noto_sans",
        "files/NotoSans[wdth,wght].ttf",
        "files/NotoSans-Italic[wdth,wght].ttf",
    ),
    Face("Heebo", "fontpkg_heebo", "files/Heebo[wght].ttf"),
    Face("Noto Sans Arabic", "fontpkg_noto_sans_arabic", "files/NotoSansArabic[wdth,wght].ttf"),
    Face("Noto Sans SC", "pylopdf_fonts_zh_cn", "NotoSansSC-Regular.otf", variable=False),
    Face("Noto Sans JP", "pylopdf_fonts_jp", "NotoSansJP-Regular.otf", variable=False),
    Face("Noto Sans KR", "pylopdf_fonts_ko", "NotoSansKR-Regular.otf", variable=False),
)
"""In order of preference; all OFL-1.1."""

_WEIGHTS: dict[Style, int] = {"plain": 400, "bold": 700, "italic": 400}

BOLD_WIDER = 1.1
"""Bold letters are at most about a tenth wider than plain ones in these fonts (Noto Sans: 3 to 10 %)."""


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of text in one font."""

    face: Face
    text: str


@lru_cache(maxsize=32)
def _opened(face: Face, style: Style) -> TTFont:
    from fontTools.ttLib import TTFont

    name = face.slanted if style == "italic" and face.slanted else face.upright
    file = resources.files(face.package).joinpath(name)
    return TTFont(BytesIO(file.read_bytes()), lazy=True)


@lru_cache(maxsize=32)
def _advances(face: Face) -> tuple[dict[int, str], Any, int]:
    """Return a font's glyph names by character, its table of advances, and its units per em."""
    font = _opened(face, "plain")
    return font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm


@lru_cache(maxsize=4096)
def _face_of(letter: str) -> Face | None:
    """Return the first font that has a letter."""
    return next((face for face in FONTS if face.installed and ord(letter) in _advances(face)[0]), None)


def runs_of(text: str) -> tuple[Run, ...]:
    """Return a text as runs of one font each; letters that no font has go with the first font.

    Spaces and marks stay in the run that they follow, where its font has them.
    """
    runs: list[Run] = []
    for letter in text:
        before = runs[-1].face if runs else None
        if before is not None and not letter.isalnum() and ord(letter) in _advances(before)[0]:
            face = before
        else:
            face = _face_of(letter) or FONTS[0]
        if face is before:
            runs[-1] = Run(face, runs[-1].text + letter)
        else:
            runs.append(Run(face, letter))
    return tuple(runs)


@lru_cache(maxsize=4096)
def text_width_em(text: str, style: Style = "plain") -> float:
    """Return how wide a text is, in ems; joined scripts come out a little too wide, never too narrow."""
    width = 0.0
    for run in runs_of(text):
        names, advances, em = _advances(run.face)
        width += sum(advances[names.get(ord(letter), ".notdef")][0] for letter in run.text) / em
    return width * (BOLD_WIDER if style == "bold" else 1.0)


def missing_letters(text: str) -> tuple[str, ...]:
    """Return the letters of a text that no installed font has, each once, in order."""
    return tuple(
        dict.fromkeys(letter for letter in text if not letter.isspace() and _face_of(letter) is None)
    )


def font_bytes(face: Face, style: Style, letters: str, *, layout: bool = False) -> bytes:
    """Return a small font file of some letters of a font: TrueType outlines of one weight.

    Parameters
    ----------
    face, style
        Which font.
    letters
        The letters that it will have.
    layout
        Whether it keeps the tables that join and place letters; scripts such as Arabic need them.

    Returns
    -------
    bytes
        The same bytes for the same letters.
    """
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont

    name = face.slanted if style == "italic" and face.slanted else face.upright
    font = TTFont(BytesIO(resources.files(face.package).joinpath(name).read_bytes()), recalcTimestamp=False)
    dropped = ["STAT", "HVAR", "MVAR", "DSIG", *([] if layout else ["GSUB", "GPOS", "GDEF"])]
    for table in dropped:
        if table in font:
            del font[table]
    options = Options()
    options.layout_features = ["*"] if layout else []
    options.notdef_outline, options.hinting, options.name_IDs = True, False, [1, 2, 4, 6]
    subsetter = Subsetter(options)
    subsetter.populate(text=letters)
    subsetter.subset(font)
    if "fvar" in font:
        from fontTools.varLib.instancer import instantiateVariableFont

        axes = {axis.axisTag: axis.defaultValue for axis in font["fvar"].axes}
        instantiateVariableFont(font, axes | {"wght": float(_WEIGHTS[style])}, inplace=True)
    if "glyf" not in font:
        _with_quadratic_outlines(font)
    stored = BytesIO()
    font.save(stored, reorderTables=None)
    return stored.getvalue()


def _with_quadratic_outlines(font: TTFont) -> None:
    """Turn cubic outlines (CFF) into the quadratic ones that PDF writers know, within a thousandth of an em."""
    from fontTools.pens.cu2quPen import Cu2QuPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen
    from fontTools.ttLib import newTable

    glyphs, order = font.getGlyphSet(), font.getGlyphOrder()
    outlines = {}
    for name in order:
        pen = TTGlyphPen(glyphs)
        glyphs[name].draw(Cu2QuPen(pen, font["head"].unitsPerEm / 1000, reverse_direction=True))
        outlines[name] = pen.glyph()
    font["loca"], font["glyf"] = newTable("loca"), newTable("glyf")
    font["glyf"].glyphOrder, font["glyf"].glyphs = order, outlines
    for name in order:
        outlines[name].recalcBounds(font["glyf"])
    maxp = font["maxp"]
    maxp.tableVersion = 0x00010000
    for field, value in _MAXP.items():
        setattr(maxp, field, value)
    maxp.compile(font)
    for table in ("CFF ", "VORG"):
        if table in font:
            del font[table]
    font["post"].formatType = 3.0
    font.sfntVersion = "\x00\x01\x00\x00"


_MAXP = {
    "maxZones": 1, "maxTwilightPoints": 0, "maxStorage": 0, "maxFunctionDefs": 0, "maxInstructionDefs": 0,
    "maxStackElements": 0, "maxSizeOfInstructions": 0, "maxComponentElements": 0,
    "maxPoints": 0, "maxContours": 0, "maxCompositePoints": 0, "maxCompositeContours": 0, "maxComponentDepth": 0,
}  # fmt: skip
"""What a table of a font with quadratic outlines and no programs says (OpenType, maxp version 1.0)."""
