"""In which order the parts of an ABC tune are played: ``P:`` in its header."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from tercet.exchange.leadsheet import LeadMeasure, LeadNote, TuneError

__all__ = ["MOST_PARTS", "in_order_of_parts"]

MOST_PARTS = 500
"""As many visits of sections as a song may have."""

_ORDER = re.compile(r"[A-Za-z]|\(|\)|[0-9]+")


def in_order_of_parts(measures: Sequence[LeadMeasure], parts: str) -> tuple[list[LeadMeasure], list[str]]:
    """Return the measures in the order that ``P:`` in the header gives, such as ``A2(AB)3``, and remarks.

    Each part stands for itself: a repeat in it goes back to its own start, not into the part before it. What stands
    before the first part is played first. The words of a part follow its visits: the first line of words is sung when
    it is played first, the second the second time.

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
    if len(names) < 2:
        return list(measures), []
    unknown = [each for each in dict.fromkeys(names) if each not in blocks]
    if unknown:
        missing = ", ".join(unknown)
        return list(measures), [
            f"the order of parts, P:{parts[:40]}, is left out: the music has no part {missing}"
        ]
    remarks = [
        f"part {each} is left out: the order of parts, P:{parts[:40]}, doesn't play it"
        for each in blocks
        if each and each not in names
    ]
    visits: Counter[str] = Counter()
    totals = Counter(names)
    played = list(blocks.get("", []))
    for each in names:
        visits[each] += 1
        block = blocks[each]
        own = block if totals[each] == 1 else _visit(block, visits[each], totals[each])
        played += [replace(own[0], repeat_start=True), *own[1:]]
    return played, remarks


def _visit(block: Sequence[LeadMeasure], visit: int, visits: int) -> list[LeadMeasure]:
    """Return a part on one of its visits, with the verses that are sung there counted from 1."""
    times = max(max(measure.repeat_times, *measure.endings, 1) for measure in block)
    verses = max((verse for measure in block for note in measure.notes for verse, _ in note.words), default=0)
    before = (visit - 1) * times
    if before >= verses:
        before = max(verses - times, 0)
    last = verses if visit == visits else before + times

    def sung(note: LeadNote) -> LeadNote:
        words = ((verse - before, text) for verse, text in note.words if before < verse <= last)
        return replace(note, words=tuple(words))

    return [replace(measure, notes=tuple(map(sung, measure.notes))) for measure in block]


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
