"""How sentences are put together that every room says: things counted, names in a row, what was likely meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

__all__ = ["counted", "did_you_mean", "listed", "lookalikes", "nth_time", "ordinal"]

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def counted(number: int, what: str, several: str = "") -> str:
    """Return a number of things: ``1 roll``, ``2 rolls``; `several` where the plural isn't made with an s.

    Examples
    --------
    >>> counted(1, "bar"), counted(0, "bar"), counted(2, "of its passes is", "of its passes are")
    ('1 bar', '0 bars', '2 of its passes are')
    """
    return f"{number} {what if number == 1 else several or what + 's'}"


def nth_time(number: int) -> str:
    """Return which playing of some music is meant, counted from 1.

    Examples
    --------
    >>> nth_time(1), nth_time(12), nth_time(23)
    ('first time', '12th time', '23rd time')
    """
    if number <= len(_ORDINALS):
        return f"{_ORDINALS[number - 1]} time"
    return f"{ordinal(number)} time"


def ordinal(number: int) -> str:
    """Return a number's place in a row, in figures: ``1st``, ``12th``, ``23rd``."""
    teens = 10 < number % 100 < 20
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def listed(names: Iterable[str], last: str = "and") -> str:
    """Return names as people list them.

    Examples
    --------
    >>> listed(["high-g", "low-g", "baritone"], "or")
    'high-g, low-g or baritone'
    """
    *most, end = [*names] or [""]
    return f"{', '.join(most)} {last} {end}" if most else end


def did_you_mean(names: Sequence[str]) -> str:
    """Return the end of a sentence that asks back: ``; did you mean low-g?``; empty without names."""
    return f"; did you mean {listed(names, 'or')}?" if names else ""


def lookalikes(word: str, known: Iterable[str], most: int = 1, alike: float = 0.6) -> tuple[str, ...]:
    """Return the known names that look most like a word, capitals aside, the nearest first.

    Parameters
    ----------
    word, known
        What was written, and what there is.
    most
        How many to return.
    alike
        How like it each must be: 1 is the same, as `difflib.SequenceMatcher.ratio` tells.

    Examples
    --------
    >>> lookalikes("rendr", ["sheet", "render"])
    ('render',)
    """
    folded = {name.casefold(): name for name in known}
    return tuple(
        folded[name] for name in difflib.get_close_matches(word[:80].casefold(), folded, n=most, cutoff=alike)
    )
