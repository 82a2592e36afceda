"""How much faster one playing is than another, and which notes of the scale a stretch is made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.measure.audio import Track
from tests.measure.onsets import onset_figures, onsets_s

__all__ = ["pitch_class_shares", "tempo_ratio"]

FEWEST_STROKES = 8
FUNDAMENTALS_HZ = (180.0, 720.0)
"""Where the fundamentals of a ukulele's chords lie."""


def tempo_ratio(track: Track, reference: Track, about: float) -> tuple[float, float]:
    """Return how much faster the music of a track goes than the same music in another, and how well that is told.

    Strokes are heard in both, and paired where they would fall at the speed that is looked for; the line of best fit
    through the pairs tells the speed: to 0.1 % over ten seconds.

    Parameters
    ----------
    track, reference
        The same music without cues, each from its first frame on.
    about
        The ratio that is looked for.

    Returns
    -------
    The ratio, and which part of the strokes of `reference` found a partner.

    Raises
    ------
    ValueError
        Too little is struck to tell.
    """
    ours, theirs = onsets_s(track), onsets_s(reference)
    if len(theirs) < FEWEST_STROKES:
        raise ValueError(f"{len(theirs)} strokes are too few to tell a tempo")
    expected = theirs / about
    figures = onset_figures(ours, expected.tolist())
    heard = np.array([each for each in expected if each not in figures.unheard_s])
    if len(heard) < FEWEST_STROKES:
        return 0.0, len(heard) / len(expected)
    slope = float(np.polyfit(heard * about, heard + figures.late_s, 1)[0])
    return 1.0 / slope, len(heard) / len(expected)


def pitch_class_shares(part: NDArray[np.floating], rate_hz: int) -> NDArray[np.float64]:
    """Return how the power of a stretch is shared among the twelve notes of the scale, C first; they sum to 1.

    Each bin of the spectrum between 180 and 720 Hz goes to the note that it is nearest to.
    """
    mono = np.asarray(part, np.float64).mean(axis=1)
    power = np.abs(np.fft.rfft(mono * np.hanning(len(mono)))) ** 2
    hertz = np.fft.rfftfreq(len(mono), 1.0 / rate_hz)
    low, high = np.searchsorted(hertz, FUNDAMENTALS_HZ)
    classes = np.round(69 + 12 * np.log2(hertz[low:high] / 440.0)).astype(int) % 12
    found = np.bincount(classes, weights=power[low:high], minlength=12)
    return np.asarray(found / max(float(found.sum()), 1e-20))
