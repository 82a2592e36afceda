"""Words above the music that say how the time goes, in any format."""

from __future__ import annotations

import re

from tercet.song import MarkKind

__all__ = ["mark_of_words"]

_RIT = re.compile(r"\b(rit|ritard\w*|riten\w*|rall\w*)\b\.?", re.IGNORECASE)
_A_TEMPO = re.compile(r"\ba tempo\b|\btempo (i|primo)\b", re.IGNORECASE)


def mark_of_words(text: str) -> MarkKind | None:
    """Return the mark that words stand for: *rit* for ``rit.``, ``rallentando``; *a tempo*; None for others."""
    return "a-tempo" if _A_TEMPO.search(text) else "rit" if _RIT.search(text) else None
