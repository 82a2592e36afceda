"""Finding the key of a tune from its notes."""

from __future__ import annotations

from collections.abc import Iterable

from tercet.exchange.leadsheet import LeadNote
from tercet.theory import Key
from tercet.theory.pitch import parse_key

__all__ = ["key_of_tune"]

_MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
_MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
"""How well each semitone above the tonic fits: probe-tone ratings, Krumhansl and Kessler, 1982."""

_LAST_NOTE = 0.15
"""What a last note on the tonic adds to the correlation: tunes end at home."""

_MAJORS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_MINORS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def key_of_tune(notes: Iterable[LeadNote]) -> tuple[Key, Key]:
    """Return the likeliest key of a tune, and the next.

    The time that each pitch class sounds is correlated with the ratings of the twelve major and twelve minor keys;
    a last note on the tonic counts extra.
    """
    weights = [0.0] * 12
    last = None
    for note in notes:
        if note.pitch is not None:
            weights[note.pitch.pitch_class] += float(note.length_quarter)
            last = note.pitch.pitch_class
    scores = []
    for tonic in range(12):
        turned = weights[tonic:] + weights[:tonic]
        home = _LAST_NOTE if tonic == last else 0.0
        scores.append((_correlation(turned, _MAJOR) + home, f"{_MAJORS[tonic]} major"))
        scores.append((_correlation(turned, _MINOR) + home, f"{_MINORS[tonic]} minor"))
    scores.sort(reverse=True)
    return parse_key(scores[0][1]), parse_key(scores[1][1])


def _correlation(one: list[float], other: tuple[float, ...]) -> float:
    """Return Pearson's correlation; 0 when all of one are equal."""
    mean_one, mean_other = sum(one) / len(one), sum(other) / len(other)
    products = sum((a - mean_one) * (b - mean_other) for a, b in zip(one, other, strict=True))
    squares = sum((a - mean_one) ** 2 for a in one) * sum((b - mean_other) ** 2 for b in other)
    return products / float(squares**0.5) if squares else 0.0
