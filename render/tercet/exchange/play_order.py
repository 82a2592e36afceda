"""In which order written measures are played: repeats, endings, segno, coda, da capo, fine."""

from __future__ import annotations

from collections.abc import Sequence

from tercet.exchange.leadsheet import LeadMeasure, TuneError
from tercet.exchange.plain_signs import ending_groups

__all__ = ["MOST_MEASURES_PLAYED", "play_order", "segment_starts"]

MOST_MEASURES_PLAYED = 2000
"""As many bars as a song may have when it is played."""


def segment_starts(measures: Sequence[LeadMeasure]) -> list[int]:
    """Return where stretches begin that are only ever played from their start to their end."""
    starts = {0}
    for index, measure in enumerate(measures):
        before = measures[index - 1] if index else None
        if measure.repeat_start or measure.segno or measure.coda or measure.section:
            starts.add(index)
        if before is not None and measure.endings != before.endings:
            starts.add(index)
        if measure.repeat_times or measure.to_coda or measure.fine or measure.da_capo or measure.dal_segno:
            starts.add(index + 1)
    return sorted(start for start in starts if start < len(measures))


def play_order(measures: Sequence[LeadMeasure]) -> list[tuple[int, int]]:
    """Return pairs of a measure's index and the pass of its repeat, from 1, in the order played.

    The signs are followed as they stand; `plain_signs` makes them plain before. After da capo or dal segno repeats
    aren't taken again, but in the coda, and of several endings the one with *fine* or *to coda* is played, else the
    last, as is usual. Endings without a repeat sign of their own are a choice within the repeat around them.

    Raises
    ------
    TuneError
        When more than `MOST_MEASURES_PLAYED` measures would be played.
    """
    walk = _Walk(measures)
    while walk.index < len(measures):
        walk.step()
        if len(walk.order) > MOST_MEASURES_PLAYED:
            raise TuneError(
                f"with its repeats the tune has more than {MOST_MEASURES_PLAYED} bars, and a song has at most so "
                "many: take repeats away, or cut the tune"
            )
    return walk.order


class _Walk:
    """A walk through the measures: where it is, where the repeat began, which pass, and whether it has jumped."""

    def __init__(self, measures: Sequence[LeadMeasure]) -> None:
        self._measures = measures
        self._groups = {
            index: (first, after) for first, after in ending_groups(measures) for index in range(first, after)
        }
        self.index = 0
        self.order: list[tuple[int, int]] = []
        self._start = 0
        self._pass = 1
        self._jumped = False
        self._in_coda = False

    @property
    def _takes_repeats(self) -> bool:
        return not self._jumped or self._in_coda

    def step(self) -> None:
        """Play the measure that the walk has come to, or skip an ending that isn't this pass's."""
        index, measure = self.index, self._measures[self.index]
        before = self._measures[index - 1] if index else None
        after_endings = (
            before is not None
            and bool(before.endings)
            and not measure.endings
            and any(each.repeat_times for each in self._group(index - 1))
        )
        if (after_endings or measure.repeat_start) and index != self._start:
            self._restart(index)
        if measure.endings and not self._is_for_now(index):
            self.index = self._after_ending(index)
            return
        self.order.append((index, self._pass))
        self.index = self._next(index, measure)

    def _restart(self, index: int) -> None:
        self._start, self._pass = index, 1

    def _is_for_now(self, index: int) -> bool:
        endings = self._measures[index].endings
        if self._takes_repeats:
            return self._pass in endings
        signed = [each.endings for each in self._group(index) if each.fine or each.to_coda]
        return endings == signed[0] if signed else max(endings) == self._last_ending(index)

    def _group(self, index: int) -> Sequence[LeadMeasure]:
        """Return the run of endings that a measure belongs to."""
        return self._measures[slice(*self._groups[index])]

    def _last_ending(self, index: int) -> int:
        return max(number for measure in self._group(index) for number in measure.endings)

    def _after_ending(self, index: int) -> int:
        endings = self._measures[index].endings
        while index < len(self._measures) and self._measures[index].endings == endings:
            index += 1
        return index

    def _next(self, index: int, measure: LeadMeasure) -> int:
        if measure.repeat_times and self._takes_repeats:
            total = max(2, self._last_ending(index)) if measure.endings else measure.repeat_times
            if self._pass < total:
                self._pass += 1
                return self._start
            if measure.endings:
                return self._groups[index][1]
            self._restart(index + 1)
        if self._jumped and measure.fine:
            return len(self._measures)
        if measure.to_coda and not self._takes_repeats:
            return self._to_coda(index)
        if (measure.da_capo or measure.dal_segno) and not self._jumped:
            self._jumped = True
            signs = [place for place, each in enumerate(self._measures) if each.segno]
            target = signs[0] if signs and not measure.da_capo else 0
            self._restart(target)
            return target
        return index + 1

    def _to_coda(self, index: int) -> int:
        """Return where the coda starts, which lies ahead; without one the walk goes on."""
        ahead = range(index + 1, len(self._measures))
        coda = next((place for place in ahead if self._measures[place].coda), None)
        if coda is None:
            return index + 1
        self._in_coda = True
        self._restart(coda)
        return coda
