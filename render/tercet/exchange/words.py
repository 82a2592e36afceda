"""Words from outside: syllables as a song's row `words` holds them, words above the music, names of sections."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from tercet.song import MarkKind

__all__ = ["SectionNames", "jumps_of_words", "mark_of_words", "names_section", "plain_name", "sung_text"]

_INNER_BREAKS = re.compile(r"[\s\u00a0_|–—‐‑-]+")
_LONGEST_SYLLABLE = 40
_SIGNS = (".", "=")
"""What a row of a song writes for silence and for a note that goes on."""


def sung_text(text: str) -> str:
    """Return the text of one syllable; empty when nothing is left to sing.

    What the row gives a meaning of its own (spaces, hyphens, underscores, bar lines) becomes the sign of an elision
    within the text and goes at its ends; signs that can't be seen go, and so does what
    isn't sung. At most 40 characters stay.

    >>> sung_text("of a-")
    'of‿a'
    >>> sung_text("."), sung_text("la.")
    ('', 'la.')
    """
    seen = "".join(
        sign for sign in unicodedata.normalize("NFC", text) if sign.isspace() or sign.isprintable()
    )
    text = (
        _INNER_BREAKS.sub("‿", seen.strip(" \t\n\r\u00a0_|-–—‐‑"))
        .rstrip("‿ ")
        .lstrip("‿ #")[:_LONGEST_SYLLABLE]
    )
    return "" if text in _SIGNS else text


_RIT = re.compile(r"\b(rit|ritard\w*|riten\w*|rall\w*)\b\.?", re.IGNORECASE)
_A_TEMPO = re.compile(r"\ba tempo\b|\btempo (i|primo)\b", re.IGNORECASE)
_USUAL_NAMES = re.compile(
    r"(verse|chorus|refrain|bridge|intro|outro|coda|interlude|pre-?chorus|strophe)\b[ \d]*[:.]?",
    re.IGNORECASE,
)
_JUMPS = {
    "da_capo": re.compile(r"\bD\.? ?C\b\.?|\bda ?capo(\b|al)", re.IGNORECASE),
    "dal_segno": re.compile(r"\bD\.? ?S\b\.?|\bdal ?segno(\b|al)", re.IGNORECASE),
    "to_coda": re.compile(
        r"^\s*(to|al|da)\s*(the\s+)?[⊕Φφ𝄌]?\s*coda\b|^\s*(to|al|da)\s*[⊕Φφ𝄌]", re.IGNORECASE
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
    >>> jumps_of_words("dacapoalfine"), jumps_of_words("tocoda")
    (('da_capo',), ('to_coda',))
    """
    jumps = tuple(name for name, pattern in _JUMPS.items() if pattern.search(text))
    return tuple(name for name in jumps if name != "fine" or len(jumps) == 1)


def names_section(text: str) -> bool:
    """Return whether words are the name of a section: ``Chorus``, ``Verse 2:``."""
    return _USUAL_NAMES.fullmatch(text) is not None


_LONGEST_NAME = 24
_NOT_IN_NAMES = re.compile(r"[^\w]+|_+")

Shape = tuple[Fraction, int]


def plain_name(text: str) -> str:
    """Return a name that a section may have; empty when no letter is left.

    >>> plain_name("Verse 2:")
    'verse-2'
    >>> plain_name("1st time")
    'part-1st-time'
    """
    name = (
        _NOT_IN_NAMES.sub("-", unicodedata.normalize("NFC", text).casefold())
        .strip("-")[:_LONGEST_NAME]
        .strip("-")
    )
    if not name:
        return ""
    return name if name[0].isalpha() else f"part-{name}"


class SectionNames:
    """Gives every stretch of measures a name of its own, and the same name to what the file calls the same.

    Parameters
    ----------
    single
        Whether there is only one stretch.
    """

    def __init__(self, *, single: bool) -> None:
        self._single = single
        self._of_range: dict[tuple[int, int], str] = {}
        self._shapes: dict[str, tuple[str, Shape]] = {}
        self._base = ""
        self._letters = 0

    def name(self, measures: tuple[int, int], label: str, endings: tuple[int, ...], shape: Shape) -> str:
        """Return the section's name.

        Parameters
        ----------
        measures
            First measure, and the one after the last.
        label
            What the file calls it; empty when it says nothing.
        endings
            The passes of the bracket over it.
        shape
            Length of the pick-up and number of bars: sections of one name must agree in both.
        """
        if measures not in self._of_range:
            self._of_range[measures] = self._new(label, endings, shape)
        name = self._of_range[measures]
        if not endings:
            self._base = name
        return name

    def _new(self, label: str, endings: tuple[int, ...], shape: Shape) -> str:
        wanted = plain_name(label)
        if wanted and not endings:
            return self._labelled(wanted, shape)
        if endings:
            wanted = f"{self._base or 'part'}-ending-{endings[0]}"
        elif self._single:
            wanted = "tune"
        else:
            self._letters += 1
            wanted = _letter(self._letters)
        return self._unused(wanted, "", shape)

    def _labelled(self, wanted: str, shape: Shape) -> str:
        """Return the section of that label and shape, an earlier one if there is one."""
        for name, (label, known) in self._shapes.items():
            if label == wanted and known == shape:
                return name
        return self._unused(wanted, wanted, shape)

    def _unused(self, wanted: str, label: str, shape: Shape) -> str:
        name, number = wanted, 1
        while name in self._shapes:
            number += 1
            name = f"{wanted}-{number}"
        self._shapes[name] = (label, shape)
        return name


def _letter(number: int) -> str:
    """Return a letter for each number from 1, and a2, b2 and so on after z."""
    turn, place = divmod(number - 1, 26)
    return chr(ord("a") + place) + (str(turn + 1) if turn else "")
