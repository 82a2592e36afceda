"""Lengths as ABC writes them: plain ones by halves, others as tuplets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

__all__ = ["grouped", "length_text"]

_TUPLETS: dict[int, int] = {3: 2, 5: 4, 7: 4, 9: 8}
"""How many notes share the time of how many."""

_MOST_IN_A_TUPLET = 9


def length_text(units: Fraction) -> str:
    """Return a length in units as ABC writes it.

    >>> [length_text(Fraction(text)) for text in ("1", "2", "3/2", "1/2", "1/4")]
    ['', '2', '3/2', '/', '/4']
    """
    upper = "" if units.numerator == 1 else str(units.numerator)
    if units.denominator == 1:
        return upper
    return f"{upper}/" if units.denominator == 2 and not upper else f"{upper}/{units.denominator}"


def grouped(lengths: Sequence[Fraction]) -> Iterator[tuple[str, list[Fraction]]]:
    """Yield runs of notes: what stands before each, such as ``(3:2:4``, and the lengths to write.

    A run that isn't of halves alone is closed as soon as its time is; where that never comes, the lengths stay as they
    are, which ABC can write but few programs can draw.
    """
    at = 0
    while at < len(lengths):
        if _is_plain(lengths[at]):
            yield "", [lengths[at]]
            at += 1
            continue
        found = _tuplet(lengths[at : at + _MOST_IN_A_TUPLET])
        if found is None:
            yield "", [lengths[at]]
            at += 1
            continue
        sign, run = found
        yield sign, run
        at += len(run)


def _tuplet(lengths: Sequence[Fraction]) -> tuple[str, list[Fraction]] | None:
    """Return the shortest tuplet that these lengths begin with."""
    for notes, in_time in _TUPLETS.items():
        ratio = Fraction(notes, in_time)
        for count in range(1, len(lengths) + 1):
            run = [length * ratio for length in lengths[:count]]
            if not all(map(_is_plain, run)):
                break
            if _is_plain(sum(lengths[:count], Fraction(0))) or count == _MOST_IN_A_TUPLET:
                return f"({notes}:{in_time}:{count}", run
    return None


def _is_plain(length: Fraction) -> bool:
    return length.denominator & (length.denominator - 1) == 0
