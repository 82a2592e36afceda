"""The typefaces of pictures and sheets: one for nearly everything, and those that step in for other scripts.

All come with packages, so that text looks the same on every machine. Chinese, Japanese and Korean need a font of 16 MB,
which the extra ``cjk`` brings; without it, such signs are boxes.
"""

from __future__ import annotations

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from fontTools.ttLib import TTFont

from tercet.publish.shapes import Style

__all__ = [
    "FAMILIES",
    "FONT_FAMILY",
    "FontFamily",
    "family_for",
    "font_files",
    "text_width_em",
    "visual_order",
    "without_font",
]

FONT_FAMILY = "Noto Sans"
"""The typeface of nearly everything."""

BOLD_WIDER = 1.1
"""Bold letters are at most about a tenth wider than plain ones in these fonts (Noto Sans: 3 to 10 %)."""


@dataclass(frozen=True, slots=True)
class FontFamily:
    """A family: its name, the package that brings it, and its files there; `slanted` is empty without one."""

    name: str
    package: str
    upright: str
    slanted: str = ""

    @property
    def there(self) -> bool:
        """Whether its package is installed."""
        return _installed(self.package)

    def path(self, *, italic: bool = False) -> Path:
        """Return the file of the family, upright where it has no italic."""
        spec = find_spec(self.package)
        if spec is None or not spec.submodule_search_locations:
            raise FileNotFoundError(self.package)
        return Path(
            spec.submodule_search_locations[0], self.slanted if italic and self.slanted else self.upright
        )


FAMILIES: tuple[FontFamily, ...] = (
    FontFamily(
        FONT_FAMILY,
        "fontpkg_noto_sans",
        "files/NotoSans[wdth,wght].ttf",
        "files/NotoSans-Italic[wdth,wght].ttf",
    ),
    FontFamily("Heebo", "fontpkg_heebo", "files/Heebo[wght].ttf"),
    FontFamily("Noto Sans Arabic", "fontpkg_noto_sans_arabic", "files/NotoSansArabic[wdth,wght].ttf"),
    FontFamily("Noto Sans CJK JP", "noto_cjk_sans_jp_regular", "NotoSansCJKjp-Regular.otf"),
)
"""In the order in which they are asked for a sign: Latin, Greek and Cyrillic; Hebrew; Arabic; Chinese, Japanese,
Korean."""


def family_for(text: str) -> FontFamily:
    """Return the family that text is set in: the first that has all of it, else the one that has most of it."""
    signs = _printing(text)
    for family in _there():
        if signs <= _coverage(family):
            return family
    return max(_there(), key=lambda family: len(signs & _coverage(family)))


def font_files(texts: Iterable[str]) -> list[Path]:
    """Return the upright files that texts need, the usual one first."""
    signs = _printing("".join(texts))
    files: list[Path] = []
    for family in _there():
        if not files or signs & _coverage(family):
            files.append(family.path())
            signs -= _coverage(family)
        if not signs:
            break
    return files


def without_font(texts: Iterable[str]) -> str:
    """Return the signs of texts that no installed family has, each once, in the order of their numbers."""
    signs = _printing("".join(texts))
    for family in _there():
        signs -= _coverage(family)
    return "".join(map(chr, sorted(signs)))


def visual_order(text: str) -> str:
    """Return text from left to right as it is seen, its Arabic letters joined: for what sets signs one by one.

    The order is that of the Unicode bidirectional algorithm (UAX 9), the line's direction that of its first letter.
    """
    if not any("\u0590" <= sign <= "\u08ff" or "\ufb1d" <= sign <= "\ufefc" for sign in text):
        return text
    from arabic_reshaper import reshape
    from bidi.algorithm import get_display

    return str(get_display(reshape(text)))


@lru_cache(maxsize=8192)
def text_width_em(text: str, style: Style = "plain") -> float:
    """Return how wide a text is, in ems; joined scripts come out a little too wide, never too narrow."""
    width = sum(map(_letter_em, text))
    return width * (BOLD_WIDER if style == "bold" else 1.0)


@lru_cache(maxsize=16)
def _installed(package: str) -> bool:
    return find_spec(package) is not None


def _there() -> list[FontFamily]:
    return [family for family in FAMILIES if family.there]


def _printing(text: str) -> set[int]:
    return {ord(sign) for sign in text if sign.isprintable()}


@lru_cache(maxsize=4096)
def _letter_em(letter: str) -> float:
    """Return the advance of a letter in the first font that has it; that of its box where none has."""
    for family in _there():
        names, widths_em = _metrics(family)
        if ord(letter) in names:
            return widths_em[names[ord(letter)]]
    return _metrics(FAMILIES[0])[1][".notdef"]


def _coverage(family: FontFamily) -> AbstractSet[int]:
    """Return the Unicode numbers that a family has signs for."""
    return _metrics(family)[0].keys()


@lru_cache(maxsize=8)
def _metrics(family: FontFamily) -> tuple[dict[int, str], dict[str, float]]:
    """Return a font's glyph names by the number of their letter, and how wide each glyph is, in ems."""
    with TTFont(family.path(), lazy=True) as font:
        em = font["head"].unitsPerEm
        return font.getBestCmap(), {name: width / em for name, (width, _) in font["hmtx"].metrics.items()}
