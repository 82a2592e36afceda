"""When what is to be seen: the strokes of a track, its bars, its turns and what is counted, in seconds of its sound."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from tercet.arranging import Arrangement
from tercet.performing import TakeNote
from tercet.sound import SAMPLE_RATE_HZ
from tercet.tracks.clips.plan import TrackPlan
from tercet.tracks.cues import Cue
from tercet.tracks.facts import TurnFacts, bar_frames, turns_of
from tercet.tracks.playing import Playing
from tercet.tracks.timelines import Piece

__all__ = ["BarTime", "Count", "FilmTimes", "Shown", "Stroke", "film_times"]

Shown = Literal["heard", "soft", "yours"]
"""How a string comes: it sounds; it sounds softly, as a guide; it is silent, for a student to play."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A string that is struck: when, until when it rings, and how it comes."""

    onset_s: float
    end_s: float
    piece: Piece
    note: TakeNote
    shown: Shown


@dataclass(frozen=True, slots=True)
class BarTime:
    """A bar as it is played: its index in its piece."""

    start_s: float
    end_s: float
    piece: Piece
    index: int


@dataclass(frozen=True, slots=True)
class Count:
    """A number that is counted."""

    onset_s: float
    number: int


@dataclass(frozen=True, slots=True)
class FilmTimes:
    """What there is to see of a track, each in order of time.

    Parameters
    ----------
    strokes, bars, counts, turns
        As above; a turn is a passage, or the count-in before one.
    pieces
        What is played, by the names of strokes and bars.
    length_s
        Of its sound.
    """

    strokes: tuple[Stroke, ...]
    bars: tuple[BarTime, ...]
    counts: tuple[Count, ...]
    turns: tuple[TurnFacts, ...]
    pieces: dict[Piece, Arrangement]
    length_s: float


def film_times(plan: TrackPlan, playing: Playing) -> FilmTimes:
    """Return what there is to see of a track."""
    pieces = {placed.passage.source.piece: None for placed in plan.passages}
    return FilmTimes(
        tuple(sorted(_strokes(plan, playing), key=lambda stroke: stroke.onset_s)),
        tuple(_bars(plan, playing)),
        tuple(_counts(plan.cues)),
        turns_of(plan),
        {piece: playing.piece(piece) for piece in pieces},
        plan.length_frames / SAMPLE_RATE_HZ,
    )


def _strokes(plan: TrackPlan, playing: Playing) -> Iterator[Stroke]:
    for placed in plan.passages:
        passage = placed.passage
        performed = playing.performed(passage.source)
        zero = placed.zero_frame(performed)
        heard, guide = performed.picked(passage.heard), performed.picked(passage.guide)
        for index in performed.between(passage.start_beat, passage.end_beat):
            one = performed.notes[index]
            end = min(zero + one.end_frame, placed.end_frame) if index not in heard else zero + one.end_frame
            yield Stroke(
                (zero + one.onset_frame) / SAMPLE_RATE_HZ,
                end / SAMPLE_RATE_HZ,
                passage.source.piece,
                one.note,
                "heard" if index in heard else "soft" if index in guide else "yours",
            )


def _bars(plan: TrackPlan, playing: Playing) -> Iterator[BarTime]:
    """Yield the bars; those of a passage belong to its piece."""
    for placed in plan.passages:
        piece = placed.passage.source.piece
        index = {bar.number: place for place, bar in enumerate(playing.piece(piece).bars)}
        alone = TrackPlan((placed,), (), (), plan.length_frames)
        for bar, start, end in bar_frames(alone, playing):
            yield BarTime(start / SAMPLE_RATE_HZ, end / SAMPLE_RATE_HZ, piece, index[bar.number])


def _counts(cues: tuple[Cue, ...]) -> Iterator[Count]:
    number = 0
    for cue in cues:
        if cue.kind == "count":
            number = 1 if cue.first else number + 1
            yield Count(cue.frame / SAMPLE_RATE_HZ, number)
