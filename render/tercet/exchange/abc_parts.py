"""In which order the parts of an ABC tune are played: ``P:`` in its header."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from tercet.exchange.leadsheet import LeadMeasure, TuneError

__all__ = ["MOST_PARTS", "in_order_of_parts"]

MOST_PARTS = 500
"""As many visits of sections as a song may have."""

_ORDER = re.compile(r"[A-Za-z]|\(|\)|[0-9]+")


def in_order_of_parts(measures: Sequence[LeadMeasure], parts: str) -> list[LeadMeasure]:
    """Return the measures in the order that ``P:`` in the header gives, such as ``A2(AB)3``.

    Each part stands for itself: a repeat in it goes back to its own start, not into the part before it.

    Raises
    ------
    TuneError
        When more than `MOST_PARTS` parts would be played.
    """
    names = _part_names(parts)
    blocks: dict[str, list[LeadMeasure]] = {}
    name = ""
    for measure in measures:
        name = measure.section or name
        blocks.setdefault(name, []).append(measure)
    if len(names) < 2 or not set(names) <= set(blocks):
        return list(measures)
    starting = {
        each: [replace(block[0], repeat_start=True), *block[1:]] for each, block in blocks.items() if block
    }
    return [measure for each in names for measure in starting[each]]


def _part_names(parts: str) -> list[str]:
    stack: list[list[str]] = [[]]
    last: list[str] = []
    for sign in _ORDER.findall(parts[:200]):
        if sign == "(":
            stack.append([])
        elif sign == ")" and len(stack) > 1:
            last = stack.pop()
            stack[-1] += last
        elif sign.isdigit():
            stack[-1] += last * min(int(sign[:2]) - 1, 99)
        elif sign.isalpha():
            last = [sign]
            stack[-1] += last
        if sum(map(len, stack)) > MOST_PARTS:
            raise TuneError(f"P:{parts[:30]} plays more than {MOST_PARTS} parts: shorten it")
    return [name for block in stack for name in block]
