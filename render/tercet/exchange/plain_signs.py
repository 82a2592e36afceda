"""Repeats, endings and jumps as files write them, made plain before anybody follows them.

Programs stop a bracket a bar too soon, number endings with gaps, leave out the repeat sign between two endings, and
draw the sign of the coda where one leaves for it, too. What is meant is clear from what stands around it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from tercet.exchange.leadsheet import LeadMeasure

__all__ = ["ending_groups", "passes_of", "with_plain_signs"]

_MOST_PASSES = 32
"""That one bracket may name."""

_LONGEST_WORDS = 2
"""Measures over which words may stand before the bar line at which they hold."""

_LONGEST_ENDING = 8
"""Measures that a bracket may be short of the repeat sign that it ends with."""


def with_plain_signs(measures: Sequence[LeadMeasure]) -> tuple[LeadMeasure, ...]:
    """Return measures whose brackets reach their repeat signs, numbered in a row, with one way to the coda.

    Words that say to go back stand at the bar line where one does.
    """
    plain = list(measures)
    _let_jumps_wait_for_the_bar_line(plain)
    _let_brackets_reach_their_sign(plain)
    _let_first_endings_repeat(plain)
    _number_in_a_row(plain)
    _show_the_way_to_the_coda(plain)
    return tuple(plain)


def passes_of(*texts: str) -> tuple[int, ...]:
    """Return the passes that a bracket names, by the first of its texts that has numbers; without any the first.

    >>> passes_of("1,3"), passes_of("", "2-4."), passes_of("x")
    ((1, 3), (2, 3, 4), (1,))
    """
    for text in texts:
        passes: set[int] = set()
        for low, high in re.findall(r"(\d{1,2})(?:\s*[-–]\s*(\d{1,2}))?", text):
            passes |= set(range(int(low), int(high or low) + 1)) or {int(low)}
        if passes - {0}:
            return tuple(sorted(passes - {0}))[:_MOST_PASSES]
    return (1,)


def ending_groups(measures: Sequence[LeadMeasure]) -> Iterator[tuple[int, int]]:
    """Yield the first measure, and the one after the last, of each run of measures that stand under brackets."""
    at = 0
    for under, run in groupby(measures, key=lambda measure: bool(measure.endings)):
        length = len(list(run))
        if under:
            yield at, at + length
        at += length


def _let_jumps_wait_for_the_bar_line(measures: list[LeadMeasure]) -> None:
    """Move words that say to go back from the measure over which they begin to the repeat sign at which they hold.

    Long words, set flush right, begin a measure or two before the repeat sign that they belong to. Where there is a
    coda, what follows them is the coda.
    """
    if any(each.coda or each.coda_at_end or each.to_coda for each in measures):
        return
    for index, each in enumerate(measures):
        if not (each.da_capo or each.dal_segno) or each.repeat_times:
            continue
        after = measures[index + 1 : index + 1 + _LONGEST_WORDS]
        if any(one.repeat_start or one.endings or one.section or one.segno for one in after):
            continue
        sign = next((place for place, one in enumerate(after, index + 1) if one.repeat_times), None)
        if sign is not None:
            measures[sign] = replace(measures[sign], da_capo=each.da_capo, dal_segno=each.dal_segno)
            measures[index] = replace(each, da_capo=False, dal_segno=False)


def _let_brackets_reach_their_sign(measures: list[LeadMeasure]) -> None:
    for first, after in list(ending_groups(measures)):
        bracket = measures[after - 1].endings
        if _goes_elsewhere(measures[after - 1]):
            continue
        sign = _next_repeat_sign(measures, after)
        if sign is None:
            continue
        following = measures[sign + 1].endings if sign + 1 < len(measures) else ()
        goes_on = bool(following) and min(following) > max(bracket)
        alone = sign == after and all(measure.endings == bracket for measure in measures[first:after])
        if goes_on or (alone and not following):
            for index in range(after, sign + 1):
                measures[index] = replace(measures[index], endings=bracket)


def _goes_elsewhere(measure: LeadMeasure) -> bool:
    return bool(measure.repeat_times or measure.da_capo or measure.dal_segno or measure.fine)


def _next_repeat_sign(measures: Sequence[LeadMeasure], start: int) -> int | None:
    """Return the measure with the repeat sign that closes what is open at a place; None when nothing does."""
    for index in range(start, min(start + _LONGEST_ENDING, len(measures))):
        if measures[index].repeat_start or measures[index].endings:
            return None
        if measures[index].repeat_times:
            return index
    return None


def _let_first_endings_repeat(measures: list[LeadMeasure]) -> None:
    """Add the repeat signs between endings that have none, unless they stand within a repeat that closes later."""
    for first, after in ending_groups(measures):
        own = measures[first:after]
        if any(map(_goes_elsewhere, own)) or _within_a_repeat(measures, after):
            continue
        for index in range(first, after - 1):
            if measures[index].endings != measures[index + 1].endings:
                measures[index] = replace(measures[index], repeat_times=2)


def _within_a_repeat(measures: Sequence[LeadMeasure], after: int) -> bool:
    for measure in measures[after:]:
        if measure.repeat_start or measure.endings:
            return False
        if measure.repeat_times:
            return True
    return False


def _number_in_a_row(measures: list[LeadMeasure]) -> None:
    for first, after in ending_groups(measures):
        numbers = sorted({number for measure in measures[first:after] for number in measure.endings})
        rank = {number: place for place, number in enumerate(numbers, 1)}
        for index in range(first, after):
            endings = tuple(sorted({rank[number] for number in measures[index].endings}))
            measures[index] = replace(measures[index], endings=endings)


# ---- the way to the coda


def _show_the_way_to_the_coda(measures: list[LeadMeasure]) -> None:
    """Leave one sign of the coda, where it starts, and one place from which it is reached.

    The sign is drawn at both places in many files. Of two or more the first one before the jump back shows where one
    leaves: at the end of its measure, or before the measure at whose start it stands.
    """
    jump = next((index for index, each in enumerate(measures) if each.da_capo or each.dal_segno), None)
    if jump is None:
        return
    signs = [
        (index, each.coda_at_end) for index, each in enumerate(measures) if each.coda or each.coda_at_end
    ]
    leaves = [index for index, each in enumerate(measures[: jump + 1]) if each.to_coda]
    start = _start_of_coda(measures, jump, signs)
    if not leaves and start is not None:
        leaves = [
            index if at_end else index - 1
            for index, at_end in signs
            if (index if at_end else index - 1) in range(jump + 1) and (index, at_end) != (start, False)
        ][:1]
    for index, each in enumerate(measures):
        reached = bool(leaves) and index == start
        measures[index] = replace(each, coda=reached, coda_at_end=False, to_coda=index in leaves[:1])


def _start_of_coda(
    measures: Sequence[LeadMeasure], jump: int, signs: Sequence[tuple[int, bool]]
) -> int | None:
    """Return the measure with which the coda starts: by its sign, by its name, or else the one after the jump back."""
    later = [index + at_end for index, at_end in signs if index + at_end > jump]
    named = [
        index
        for index, each in enumerate(measures)
        if index > jump and each.section.strip(" .:").casefold() == "coda"
    ]
    found = [*later, *named, jump + 1]
    return found[0] if found[0] < len(measures) else None
