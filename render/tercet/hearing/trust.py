"""Trust: how sure it is that a recording is of the song at all."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from tercet.hearing.alignment import Alignment
from tercet.hearing.verdicts import Judged
from tercet.hearing.wanted import WantedTake

__all__ = ["song_trust"]

NONE, FULL = 0.42, 0.82
"""The mean of how many notes were right and how well strokes fit; a note passed over isn't right. Other songs of ours
reach 0.58, the right one, with ten slips in it, begins at 0.85."""

TINY = 1e-12

ENOUGH = 12
"""Notes of melody and between; fewer tell less."""

LEAST_PART, MOST_PART = 0.25, 0.65
"""How much of all that was struck is one of the song's strokes, none of which tells a song from another, and all: of
another song's a stretch happens to fit, 0.57 and less, of the right one, however noisy the room, 0.69 and more."""


def song_trust(aligned: Alignment, wanted: WantedTake, verdicts: Sequence[Judged]) -> float:
    """Return how sure it is that this is the song, 0 to 1.

    Parameters
    ----------
    aligned, wanted
        Of the recording.
    verdicts
        Of each pair.
    """
    tune = [stroke.action in ("roll", "single") for stroke in wanted.strokes]
    right = [
        each.verdict in ("played", "late", "early", "ran past")
        for each, pair in zip(verdicts, aligned.pairs, strict=True)
        if tune[pair.stroke]
    ]
    if not right:
        return 0.0
    passed = sum(
        sum(tune[before.stroke + 1 : after.stroke])
        for before, after in pairwise(aligned.pairs)
        if not after.jumped
    )
    notes = sum(right) / (len(right) + passed)
    fit = float(np.mean([aligned.fit[pair.onset, pair.stroke] for pair in aligned.pairs]))
    strengths = aligned.onsets.strengths
    struck = float(sum(strengths[pair.onset] for pair in aligned.pairs) / (strengths.sum() + TINY))
    sure = (0.5 * (notes + _part(fit, 0.0, 1.0)) - NONE) / (FULL - NONE)
    return _part(sure, 0.0, 1.0) * _part(struck, LEAST_PART, MOST_PART) * min(len(right) / ENOUGH, 1.0)


def _part(value: float, least: float, most: float) -> float:
    """Return where a value lies between two others: 0 at the least, 1 at the most, and so beyond."""
    return min(max((value - least) / (most - least), 0.0), 1.0)
