"""Songs in order from easy to hard, by what the report says of them, and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from tercet.arranging.model import Arrangement
from tercet.arranging.novelties import Known, Met, met_in
from tercet.arranging.report import BarHardness, report_of
from tercet.wording import counted

__all__ = ["Hardness", "RankedSong", "easy_first", "hardness_of", "mostly"]

HARD_PART = 0.25
"""A song is as hard as the hardest quarter of its bars: what a class stumbles over, not what lies between."""

SHAPE_COST = 0.15
"""What each shape adds: a shape that is asked for anywhere has to be learned."""

Part = Literal["changes", "stretch", "height", "speed", "masked"]
PARTS: dict[Part, str] = {
    "changes": "changes of the hand",
    "stretch": "wide hands",
    "height": "high frets",
    "speed": "quick notes",
    "masked": "rolls in which the tune is covered",
}
"""What makes bars hard, as the report counts it, and what it is called."""


@dataclass(frozen=True, slots=True)
class Hardness:
    """How hard a song is.

    Parameters
    ----------
    bars_cost
        Of the hardest quarter of its different bars, in the mean, as `tercet.arranging.report.HARDNESS` counts.
    mostly
        What makes the most of it; empty where nothing is hard.
    shapes
        How many different shapes are held.
    fret
        The highest fret, 0 for open strings alone.
    """

    bars_cost: float
    mostly: str
    shapes: int
    fret: int

    @property
    def cost(self) -> float:
        """All that songs are ordered by: hard bars, and shapes to learn."""
        return self.bars_cost + SHAPE_COST * self.shapes

    @property
    def sentence(self) -> str:
        """Return why, in words."""
        most = f", mostly {self.mostly}" if self.mostly else ""
        high = f"up to fret {self.fret}" if self.fret else "open strings alone"
        return f"hardest bars {self.bars_cost:.1f}{most}; {counted(self.shapes, 'shape')}, {high}"


@dataclass(frozen=True, slots=True)
class RankedSong:
    """A song in its place among others.

    Parameters
    ----------
    index
        Which of the songs given it is, from 0.
    hardness
        How hard it is.
    new
        What the songs before it don't have.
    """

    index: int
    hardness: Hardness
    new: tuple[Met, ...]


def hardness_of(arrangement: Arrangement) -> Hardness:
    """Return how hard a song is."""
    report = report_of(arrangement)
    places = report.hardest_places
    hard = places[: max(round(len(places) * HARD_PART), 1)]
    return Hardness(
        bars_cost=sum(place.cost for place in hard) / len(hard),
        mostly=mostly(*hard),
        shapes=report.totals.shapes,
        fret=report.highest_fret.fret if report.highest_fret else 0,
    )


def mostly(*places: BarHardness) -> str:
    """Return what makes the most of how hard some bars are, in words; empty where nothing does."""
    sums = {part: sum(getattr(place, part) for place in places) for part in PARTS}
    heaviest = max(sums, key=lambda part: sums[part])
    return PARTS[heaviest] if sums[heaviest] > 0 else ""


def easy_first(arrangements: Iterable[Arrangement]) -> tuple[RankedSong, ...]:
    """Return songs from easy to hard; of those equally hard the one with fewer shapes first, then as given."""
    songs = [*arrangements]
    hard = [hardness_of(song) for song in songs]
    order = sorted(
        range(len(songs)), key=lambda index: (round(hard[index].cost, 3), hard[index].shapes, index)
    )
    return tuple(_ranked(order, songs, hard))


def _ranked(
    order: Iterable[int], songs: Sequence[Arrangement], hard: Sequence[Hardness]
) -> Iterator[RankedSong]:
    known = Known()
    for index in order:
        met = met_in(songs[index])
        yield RankedSong(index, hard[index], known.new_in(met))
        known = known.after(met)
