"""Verses that a MIDI file writes out: stretches of bars that come again note for note, found and named alike.

Sections of one name become one section of the song that is played several times; their words become passes.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import pairwise

from tercet.exchange.leadsheet import LeadChord, LeadNote

__all__ = ["folded"]

_FEWEST_BARS = 8
_FEWEST_OF_ALL = 4
"""Bars of a stretch that comes again; so few only where nearly all of the tune is made of it."""

_MOST_BARS = 400
"""Of a tune in which is looked for them: every bar is compared with every other."""

_NEARLY_ALL = 0.8
_MOST_CANDIDATES = 200
"""Stretches of which it is counted how often they come."""

_BARS_OF_A_LINE = 4
_LONG = 14
"""Bars from which on two last bars may differ, instead of one."""

_Bar = tuple[tuple[tuple[Fraction, Fraction, int], ...], tuple[tuple[Fraction, str], ...]]
_Stretch = tuple[int, int]
"""First bar, and the one after the last."""


def folded(
    notes: Sequence[LeadNote], chords: Sequence[LeadChord], edges: Sequence[Fraction], remarks: list[str]
) -> Mapping[Fraction, str]:
    """Return names of sections by the place where they begin; none where nothing comes again.

    Parameters
    ----------
    notes, chords
        On one line of time.
    edges
        Where bars begin, and the last one ends: bars from pick-up to pick-up.
    remarks
        Where it is said what comes again.
    """
    bars = _bars(notes, chords, edges)
    if not _FEWEST_OF_ALL * 2 <= len(bars) <= _MOST_BARS:
        return {}
    equal = _equal_from(bars)
    groups: list[list[_Stretch]] = []
    rest = [(0, len(bars))]
    while (found := _repeated(bars, equal, rest)) is not None:
        groups.append(found)
        rest = _without(rest, found)
    if not groups:
        return {}
    groups += [[stretch] for stretch in rest]
    groups.sort(key=lambda group: group[0])
    remarks += [_remark(group) for group in groups if len(group) > 1]
    return {
        edges[low]: f"part {_letters(index)}" if len(groups) > 1 else "verse"
        for index, group in enumerate(groups)
        for low, _ in group
    }


def _remark(group: Sequence[_Stretch]) -> str:
    (low, high), *others = group
    again = ", ".join(f"{start + 1}-{stop}" for start, stop in others[:8])
    return f"bars {low + 1}-{high} come again as {again}: they are written once, as a section played {len(group)} times"


def _letters(index: int) -> str:
    letter = chr(ord("a") + index % 26)
    return letter if index < 26 else f"{letter}{index // 26 + 1}"


def _bars(notes: Sequence[LeadNote], chords: Sequence[LeadChord], edges: Sequence[Fraction]) -> list[_Bar]:
    """Return what starts in each bar, by its place there."""
    starts = [note.start_quarter for note in notes]
    chord_starts = [chord.start_quarter for chord in chords]
    found = []
    for low, high in pairwise(edges):
        own = notes[bisect_left(starts, low) : bisect_left(starts, high)]
        played = tuple(
            (note.start_quarter - low, note.length_quarter, note.pitch.midi if note.pitch else 0)
            for note in own
        )
        struck = chords[bisect_left(chord_starts, low) : bisect_left(chord_starts, high)]
        found.append((played, tuple((chord.start_quarter - low, str(chord.chord)) for chord in struck)))
    return found


def _equal_from(bars: Sequence[_Bar]) -> list[list[int]]:
    """Return for each pair of bars how many bars are equal from them on."""
    count = len(bars)
    number: dict[_Bar, int] = {}
    numbers = [number.setdefault(bar, len(number)) for bar in bars]
    equal = [[0] * (count + 1) for _ in range(count + 1)]
    for low in range(count - 1, -1, -1):
        for high in range(count - 1, low, -1):
            equal[low][high] = equal[low + 1][high + 1] + 1 if numbers[low] == numbers[high] else 0
    return equal


def _repeated(
    bars: Sequence[_Bar], equal: Sequence[Sequence[int]], free: Sequence[_Stretch]
) -> list[_Stretch] | None:
    """Return the places of the stretch whose repeats save most bars within what is free, or None."""
    found = {_occurrences(bars, first, length, free) for first, length in _candidates(bars, equal, free)}
    worth = [places for places in found if _is_worth_it(places, len(bars))]
    if not worth:
        return None
    best = max(worth, key=lambda places: (_saved(places), len(places), places))
    return list(best)


def _saved(places: Sequence[_Stretch]) -> int:
    return sum(high - low for low, high in places[1:])


def _is_worth_it(places: Sequence[_Stretch], bars: int) -> bool:
    if len(places) < 2:
        return False
    length = places[0][1] - places[0][0]
    covered = length * len(places)
    return length >= _FEWEST_BARS or (length >= _FEWEST_OF_ALL and covered >= _NEARLY_ALL * bars)


def _candidates(
    bars: Sequence[_Bar], equal: Sequence[Sequence[int]], free: Sequence[_Stretch]
) -> list[_Stretch]:
    """Return first bar and length of the longest stretches that come again, each once."""
    longest: dict[tuple[int, int], int] = {}
    for low, stop in free:
        for later_low, later_stop in free:
            for first in range(low, stop):
                for second in range(max(later_low, first + 1), later_stop):
                    common = min(equal[first][second], second - first, stop - first, later_stop - second)
                    if common >= _FEWEST_OF_ALL - 1:
                        longest.setdefault((first, common), second)
    heard = [
        (first, length)
        for first, length in longest
        if bars[first][0] and (first - 1, length + 1) not in longest
    ]
    return sorted(heard, key=lambda each: (-each[1], each[0]))[:_MOST_CANDIDATES]


def _occurrences(
    bars: Sequence[_Bar], first: int, length: int, free: Sequence[_Stretch]
) -> tuple[_Stretch, ...]:
    """Return where a stretch comes, or the shortest one that it is made of, with last bars that may differ."""
    core = _root(bars, first, length)
    whole = _rounded(core)
    places = _places(bars, first, core, whole, free)
    if whole > core and len(places) < 2:
        places = _places(bars, first, core, core, free)
    return tuple(places)


def _root(bars: Sequence[_Bar], first: int, length: int) -> int:
    """Return the shortest period, of four bars or more, of which a stretch is made."""
    for period in range(_FEWEST_OF_ALL, length // 2 + 1):
        if length % period == 0 and all(
            bars[first + index] == bars[first + index - period] for index in range(period, length)
        ):
            return period
    return length


def _rounded(core: int) -> int:
    """Return a length with the one or two last bars that may differ, if that makes whole lines of four bars."""
    whole = -(-core // _BARS_OF_A_LINE) * _BARS_OF_A_LINE
    return whole if whole - core <= (2 if core >= _LONG else 1) else core


def _places(
    bars: Sequence[_Bar], first: int, core: int, whole: int, free: Sequence[_Stretch]
) -> list[_Stretch]:
    """Return where a stretch stands, from left to right, without overlaps, each with its last bars."""
    pattern = list(bars[first : first + core])
    places = []
    for low, stop in free:
        at = low
        while at + whole <= stop:
            if list(bars[at : at + core]) == pattern:
                places.append((at, at + whole))
                at += whole
            else:
                at += 1
    return places


def _without(free: Sequence[_Stretch], taken: Sequence[_Stretch]) -> list[_Stretch]:
    """Return what is left of the free stretches."""
    left = []
    for low, stop in free:
        at = low
        for start, end in sorted(taken):
            if low <= start < stop:
                if start > at:
                    left.append((at, start))
                at = end
        if at < stop:
            left.append((at, stop))
    return left
