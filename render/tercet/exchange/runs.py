"""The stretches of a tune in the order played, each with its verse; what is never played or sung is said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from tercet.exchange.leadsheet import LeadMeasure
from tercet.exchange.plain_signs import ending_groups
from tercet.exchange.play_order import MOST_MEASURES_PLAYED, play_order, segment_starts
from tercet.theory.limits import MOST_VISITS

__all__ = ["Run", "runs_of"]

"""Of sections, as in a song's form."""

_STRAY = 5
"""A verse is one if it has at least so great a part, one fifth, of the syllables of the fullest."""

_SHOWN = 8


@dataclass(frozen=True, slots=True)
class Run:
    """One playing of a stretch of measures.

    Parameters
    ----------
    start, stop
        Its first measure, and the one after its last.
    turn
        The pass of its repeat, from 1.
    verse
        Which verse it sings.
    has_pickup
        Whether the measure before it, which stands alone there, is its pick-up.
    """

    start: int
    stop: int
    turn: int
    verse: int = 1
    has_pickup: bool = False


def runs_of(measures: Sequence[LeadMeasure], remarks: list[str]) -> list[Run]:
    """Return the stretches in the order played, whole rounds of them as long as a verse is left.

    Raises
    ------
    TuneError
        When there are more measures than a song may have.
    """
    order = play_order(measures)
    never = sorted(set(range(len(measures))) - {index for index, _ in order})
    never = [index for index in never if any(note.pitch for note in measures[index].notes)]
    if never:
        remarks.append(
            "measures that no repeat, ending or jump leads to are never played and left out: "
            f"{_numbers(measures, never)}"
        )
    runs = _in_order(measures, order)
    verses = _Verses(measures, runs)
    rounds = min(verses.rounds, MOST_MEASURES_PLAYED // len(order), max(MOST_VISITS // len(runs), 1))
    if rounds > 1:
        repeats = "no repeat" if all(run.turn == 1 for run in runs) else "fewer repeats"
        each = ", once for each" if rounds == verses.count and repeats == "no repeat" else ""
        remarks.append(
            f"there are {verses.count} verses and {repeats}: the tune is played {rounds} times{each}"
        )
    sung = verses.sung_by(runs, rounds)
    remarks += _unsung(measures, sung)
    return _with_pickups(measures, sung)


def _in_order(measures: Sequence[LeadMeasure], order: Iterable[tuple[int, int]]) -> list[Run]:
    starts = set(segment_starts(measures))
    runs: list[Run] = []
    for index, turn in order:
        if runs and index == runs[-1].stop and index not in starts and turn == runs[-1].turn:
            runs[-1] = replace(runs[-1], stop=index + 1)
        else:
            runs.append(Run(index, index + 1, turn))
    return runs


def _numbers(measures: Sequence[LeadMeasure], places: Sequence[int]) -> str:
    """Return the numbers of measures, those in a row as a range."""
    rows = [
        [measures[index].number for _, index in row]
        for _, row in groupby(enumerate(places), key=lambda pair: pair[1] - pair[0])
    ]
    shown = [row[0] if len(row) == 1 else f"{row[0]}-{row[-1]}" for row in rows]
    return ", ".join(shown[:_SHOWN]) + (", …" if len(shown) > _SHOWN else "")


# ---- verses


def _syllables(measures: Sequence[LeadMeasure]) -> Counter[int]:
    return Counter(
        verse for measure in measures for note in measure.notes for verse, each in note.words if each.text
    )


class _Verses:
    """Which verses a tune has, and which of them each stretch sings when.

    A verse that has hardly any syllables isn't one.
    """

    def __init__(self, measures: Sequence[LeadMeasure], runs: Sequence[Run]) -> None:
        counts = _syllables(measures)
        fullest = max(counts.values(), default=0)
        self._known = sorted(verse for verse, count in counts.items() if _STRAY * count >= fullest)
        rank = {verse: place for place, verse in enumerate(self._known, 1)}
        self._sung = {
            (run.start, run.stop): {
                rank[verse] for verse in _syllables(measures[run.start : run.stop]) if verse in rank
            }
            for run in runs
        }
        self._played = Counter((run.start, run.stop) for run in runs)
        last_turn = Counter[tuple[int, int]]()
        for run in runs:
            last_turn[run.start, run.stop] = max(last_turn[run.start, run.stop], run.turn)
        self._last_turn = last_turn
        self._endings = {
            index: max(number for each in measures[first:after] for number in each.endings)
            for first, after in ending_groups(measures)
            for index in range(first, after)
        }

    @property
    def count(self) -> int:
        """How many verses there are."""
        return len(self._known)

    @property
    def rounds(self) -> int:
        """How often all must be played until every verse has been sung."""
        return max(
            (-(-max(sung) // self._passes(place)) for place, sung in self._sung.items() if len(sung) > 1),
            default=1,
        )

    def sung_by(self, runs: Sequence[Run], rounds: int) -> list[Run]:
        """Return so many rounds of the stretches, each with its verse."""
        sung: list[Run] = []
        for number in range(rounds):
            played = Counter[tuple[int, int]]()
            for run in runs:
                played[run.start, run.stop] += 1
                sung.append(replace(run, verse=self._verse(run, played[run.start, run.stop], number)))
        return sung

    def _counts_playings(self, place: tuple[int, int]) -> bool:
        """Return whether a stretch has more verses than its repeat has passes, but is played again after a jump."""
        sung = self._sung[place]
        return place[0] not in self._endings and max(sung, default=1) > self._last_turn[place]

    def _passes(self, place: tuple[int, int]) -> int:
        """Return how many verses a stretch takes in one round."""
        if place[0] in self._endings:
            return max(self._endings[place[0]], self._last_turn[place])
        return self._played[place] if self._counts_playings(place) else self._last_turn[place]

    def _verse(self, run: Run, playing: int, number: int) -> int:
        place = (run.start, run.stop)
        sung = self._sung[place]
        turn = playing if self._counts_playings(place) else run.turn
        wanted = number * self._passes(place) + turn
        if wanted not in sung and len(sung) == 1:
            wanted = next(iter(sung))
        elif sung and wanted > max(sung):
            wanted = turn if turn in sung else max(sung)
        return self._known[wanted - 1] if wanted <= len(self._known) else wanted


def _unsung(measures: Sequence[LeadMeasure], runs: Sequence[Run]) -> list[str]:
    """Say which syllables no pass sings."""
    sung = {(index, run.verse) for run in runs for index in range(run.start, run.stop)}
    played = {index for index, _ in sung}
    lost: dict[int, list[int]] = {}
    for index in sorted(played):
        for verse in sorted(_syllables([measures[index]])):
            if (index, verse) not in sung:
                lost.setdefault(verse, []).append(index)
    return [
        f"words of verse {verse} that no pass sings are left out: measure{'s' if len(places) > 1 else ''} "
        f"{_numbers(measures, places)}"
        for verse, places in sorted(lost.items())
    ]


# ---- pick-ups that stand alone


def _with_pickups(measures: Sequence[LeadMeasure], runs: Sequence[Run]) -> list[Run]:
    """Return the stretches, a short measure alone before another stretch being that one's pick-up."""
    joined: list[Run] = []
    for run in runs:
        before = joined[-1] if joined else None
        if before is not None and before.stop == run.start and _leads_into(measures, before, run):
            joined[-1] = replace(run, has_pickup=True)
        else:
            joined.append(run)
    return joined


def _leads_into(measures: Sequence[LeadMeasure], run: Run, following: Run) -> bool:
    """Return whether a stretch is one short measure, without a name of its own, before one that starts whole."""
    measure, first = measures[run.start], measures[following.start]
    return (
        run.stop - run.start == 1
        and not run.has_pickup
        and not measure.endings
        and not measure.repeat_times
        and not (measure.section and first.section)
        and measure.length_quarter < measure.nominal_quarter
        and (following.stop - following.start == 1 or first.length_quarter >= first.nominal_quarter)
    )
