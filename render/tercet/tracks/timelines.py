"""What a track goes through: which music, how fast, who plays and what is heard softly, passage by passage.

Passages are ranges of beats: the whole piece, its sections, phrases or bars.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from tercet.arranging import Arrangement
from tercet.arranging.piece import phrase_starts
from tercet.song import played_visits
from tercet.song.note_choice import Choice, Word

__all__ = [
    "ALL",
    "NOTHING",
    "BeatRange",
    "Passage",
    "Piece",
    "Source",
    "TrackTimeline",
    "Whose",
    "bar_ranges",
    "phrase_ranges",
    "section_ranges",
    "whole_range",
]

ALL, NOTHING = Word("all"), Word("nothing")

Piece = Literal["song", "chords", "tune-up"]
"""What is played: the song as arranged, just its chords, or the open strings."""

Whose = Literal["listen", "yours", "together"]
"""Whose turn it is: the recording's alone, the student's alone, or both."""


@dataclass(frozen=True, slots=True)
class Source:
    """One way to play one piece from beginning to end; every passage is cut out of such a playing.

    Parameters
    ----------
    piece
        What is played.
    speed
        1 is the song's tempo.
    flat
        Neither front nor back, see `tercet.performing.perform`.
    steady
        Without the drift in tempo that players have among themselves: for a track that clicks throughout.
    goes_round
        Without the ritard at the piece's end: for a track whose last bars come round again.
    """

    piece: Piece = "song"
    speed: Fraction = Fraction(1)
    flat: bool = False
    steady: bool = False
    goes_round: bool = False


@dataclass(frozen=True, slots=True)
class Passage:
    """Some beats of a playing, and what of them is heard.

    Parameters
    ----------
    source
        Which playing.
    start_beat, end_beat
        From where up to where, in beats of the piece as played.
    heard
        The notes that are heard.
    guide
        Of the other notes, those that are heard softly.
    whose
        Whose turn it is.
    count_in_bars
        Bars counted before it.
    pulse
        Whether a soft knock marks each pulse.
    bell
        Whether a bell at its beginning says that the turn changes.
    step
        What sets it apart from those before, in a word or two: ``80%``, ``strums``.
    """

    source: Source
    start_beat: Fraction
    end_beat: Fraction
    heard: Choice = ALL
    guide: Choice = NOTHING
    whose: Whose = "together"
    count_in_bars: int = 0
    pulse: bool = False
    bell: bool = False
    step: str = ""


@dataclass(frozen=True, slots=True)
class TrackTimeline:
    """The passages of a track, one after the other; at least one."""

    passages: tuple[Passage, ...]


# ---- ranges of beats


@dataclass(frozen=True, slots=True)
class BeatRange:
    """Some beats of the piece as played, in a row.

    Parameters
    ----------
    start_beat, end_beat
        From where up to where; on bar lines, but for phrases that begin within a bar.
    section, pass_number
        What it belongs to; a pick-up belongs to what it leads into.
    """

    start_beat: Fraction
    end_beat: Fraction
    section: str
    pass_number: int


def whole_range(arrangement: Arrangement) -> BeatRange:
    """Return the whole piece."""
    return _range(arrangement, 0, len(arrangement.bars) - 1)


def bar_ranges(arrangement: Arrangement) -> tuple[BeatRange, ...]:
    """Return the bars of the piece; a pick-up goes with the bar that it leads into."""
    bars = arrangement.bars
    firsts = [index for index in range(len(bars)) if index == 0 or bars[index - 1].section_bar != 0]
    return _between(arrangement, firsts)


def section_ranges(arrangement: Arrangement) -> tuple[BeatRange, ...]:
    """Return each playing of a section, in the order played; it begins with its pick-up."""
    return tuple(
        BeatRange(visit.start_beat, visit.end_beat, visit.section, visit.pass_number)
        for visit in played_visits(arrangement.bars)
    )


def phrase_ranges(arrangement: Arrangement) -> tuple[BeatRange, ...]:
    """Return the phrases of the piece, one beginning where the other ends: after a breath, else with a line of music.

    A section's first phrase begins with its pick-up.
    """
    visits = section_ranges(arrangement)
    visit_starts = [visit.start_beat for visit in visits]
    starts = sorted({*visit_starts, *phrase_starts(arrangement.bars)})
    return tuple(
        replace(visits[max(bisect_right(visit_starts, start) - 1, 0)], start_beat=start, end_beat=end)
        for start, end in pairwise([*starts, visits[-1].end_beat])
    )


def _between(arrangement: Arrangement, firsts: list[int]) -> tuple[BeatRange, ...]:
    """Return ranges of whole bars, each from one of some bars up to the next of them."""
    lasts = [*(index - 1 for index in firsts[1:]), len(arrangement.bars) - 1]
    return tuple(_range(arrangement, first, last) for first, last in zip(firsts, lasts, strict=True))


def _range(arrangement: Arrangement, first: int, last: int) -> BeatRange:
    bar, end = arrangement.bars[first], arrangement.bars[last]
    return BeatRange(bar.start_beat, end.start_beat + end.length_beat, bar.section, bar.pass_number)
