"""What a class page knows of a song, read from its HTML alone."""

from __future__ import annotations

import json
import re
from fractions import Fraction

__all__ = ["followed_words"]

FACTS = re.compile(r'<script type="application/json" id="facts">(.*?)</script>', re.DOTALL)


def followed_words(html: str) -> list[tuple[int, int, str, float]]:
    """Return every syllable that the page follows: its bar, how far into it in thousandths, itself, and when.

    The time is that of the note to which it is sung, at the page's first speed, as a part of its bar; infinite for a
    syllable without a note.
    """
    match = FACTS.search(html)
    assert match, "the page has no facts"
    page = json.loads(match[1])
    onsets, times = page["speeds"][0]["onset"], page["speeds"][0]["bars"]
    found = []
    for _, text, note, bar, part in page["words"]:
        start, end = times[bar]
        along = float("inf") if note < 0 else (onsets[note] - start) / (end - start)
        found.append((page["bars"][bar]["number"], part, text.rstrip("-"), along))
    return found


def thousandths(beat: Fraction, bar_beat: Fraction) -> int:
    """Return how far into its bar a beat falls."""
    return round(1000 * beat / bar_beat)
