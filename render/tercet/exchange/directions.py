"""Words above the music that say how the time goes, where to go on and what a section is called, in any format."""

from __future__ import annotations

import re

from tercet.song import MarkKind

__all__ = ["jumps_of_words", "mark_of_words", "names_section"]

_RIT = re.compile(r"\b(rit|ritard\w*|riten\w*|rall\w*)\b\.?", re.IGNORECASE)
_A_TEMPO = re.compile(r"\ba tempo\b|\btempo (i|primo)\b", re.IGNORECASE)
_NAMES_OF_SECTIONS = re.compile(
    r"(verse|chorus|refrain|bridge|intro|outro|coda|interlude|pre-?chorus|strophe)\b[ \d]*[:.]?",
    re.IGNORECASE,
)
_JUMPS = {
    "da_capo": re.compile(r"\bD\.? ?C\b\.?|\bda capo\b", re.IGNORECASE),
    "dal_segno": re.compile(r"\bD\.? ?S\b\.?|\bdal segno\b", re.IGNORECASE),
    "to_coda": re.compile(
        r"^\s*(to|al|da)\s+(the\s+)?[⊕Φφ𝄌]?\s*coda\b|^\s*(to|al|da)\s*[⊕Φφ𝄌]", re.IGNORECASE
    ),
    "segno": re.compile(r"^\s*segno\s*\.?\s*$", re.IGNORECASE),
    "fine": re.compile(r"^\s*fine\s*\.?\s*$", re.IGNORECASE),
}


def mark_of_words(text: str) -> MarkKind | None:
    """Return the mark that words stand for: *rit* for ``rit.``, ``rallentando``; *a tempo*; None for others."""
    return "a-tempo" if _A_TEMPO.search(text) else "rit" if _RIT.search(text) else None


def jumps_of_words(text: str) -> tuple[str, ...]:
    """Return where words say to go on, as fields of `LeadMeasure`: *da_capo* for ``D.C. al Fine``.

    >>> jumps_of_words("D.S. al Coda"), jumps_of_words("Fine"), jumps_of_words("slowly")
    (('dal_segno',), ('fine',), ())
    """
    jumps = tuple(name for name, pattern in _JUMPS.items() if pattern.search(text))
    return tuple(name for name in jumps if name != "fine" or len(jumps) == 1)


def names_section(text: str) -> bool:
    """Return whether words are the name of a section: ``Chorus``, ``Verse 2:``."""
    return _NAMES_OF_SECTIONS.fullmatch(text) is not None
