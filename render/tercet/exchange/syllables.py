"""Syllables from outside, spelt as the row `words` can hold them."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["sung_text"]

_INNER_BREAKS = re.compile(r"[\s\u00a0_|–—‐‑-]+")
_LONGEST = 40


def sung_text(text: str) -> str:
    """Return the text of one syllable; empty when nothing is left to sing.

    What the row gives a meaning of its own (spaces, hyphens, underscores, bar lines) becomes the sign of an elision
    within the text and goes at its ends; signs that can't be seen go. At most 40 characters stay.

    >>> sung_text("of a-")
    'of‿a'
    """
    seen = "".join(
        sign for sign in unicodedata.normalize("NFC", text) if sign.isspace() or sign.isprintable()
    )
    return _INNER_BREAKS.sub("‿", seen.strip(" \t\n\r\u00a0_|-–—‐‑")).rstrip("‿ ").lstrip("‿ #")[:_LONGEST]
