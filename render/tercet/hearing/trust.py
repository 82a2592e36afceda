"""Trust: how sure it is that a recording is of the song at all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tercet.hearing.alignment import Alignment
from tercet.hearing.verdicts import Judged
from tercet.hearing.wanted import WantedTake

__all__ = ["song_trust"]

NONE, FULL = 0.42, 0.82
"""The mean of how many notes were right and how well strokes fit: other songs of ours reach 0.55, the right one, with
ten slips in it, begins at 0.85."""

ENOUGH = 12
"""Notes of melody and between; fewer tell less."""


def song_trust(aligned: Alignment, wanted: WantedTake, verdicts: Sequence[Judged]) -> float:
    """Return how sure it is that this is the song, 0 to 1.

    Parameters
    ----------
    aligned, wanted
        Of the recording.
    verdicts
        Of each pair.
    """
    plain = [
        each.verdict in ("played", "late", "early", "ran past")
        for each, pair in zip(verdicts, aligned.pairs, strict=True)
        if wanted.strokes[pair.stroke].action in ("roll", "single")
    ]
    if not plain:
        return 0.0
    right = float(np.mean(plain))
    fit = float(np.mean([aligned.fit[pair.onset, pair.stroke] for pair in aligned.pairs]))
    sure = (0.5 * (right + min(max(fit, 0.0), 1.0)) - NONE) / (FULL - NONE)
    return float(min(max(sure, 0.0), 1.0)) * min(len(plain) / ENOUGH, 1.0)
