"""What there is to say of a finished track: its files, and what happens in it when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tercet.performing import TakeNote
from tercet.performing.timeline import bars_between
from tercet.song import Bar
from tercet.sound import SAMPLE_RATE_HZ
from tercet.tracks.clips.plan import TrackPlan
from tercet.tracks.playing import Playing
from tercet.tracks.timelines import NOTHING

__all__ = [
    "BarFacts",
    "CueFacts",
    "FileFacts",
    "TrackFacts",
    "TurnFacts",
    "bar_frames",
    "bars_of",
    "cues_of",
    "note_frames",
    "turns_of",
]

DIGITS = 4
"""Decimals of a second."""


@dataclass(frozen=True, slots=True)
class FileFacts:
    """A finished file: its size, its hash, how long and how loud it is, and the gain that the song has in it.

    `eased_db` is by how much its highest peaks were lowered.
    """

    file: str
    format: str
    bytes: int
    sha256: str
    length_s: float
    loudness_lufs: float
    true_peak_dbtp: float
    gain_db: float
    eased_db: float


@dataclass(frozen=True, slots=True)
class BarFacts:
    """A bar, or the part of it that is played: its number in the piece, and when it begins and ends."""

    bar: int
    section: str
    pass_number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class TurnFacts:
    """Whose turn it is (``count-in``, ``listen``, ``yours``, ``together``), what is heard, and how fast."""

    whose: str
    start_s: float
    end_s: float
    heard: str
    guide: str
    speed: str
    step: str


@dataclass(frozen=True, slots=True)
class CueFacts:
    """A cue: ``count``, ``pulse`` or ``bell``, and when."""

    kind: str
    onset_s: float


@dataclass(frozen=True, slots=True)
class TrackFacts:
    """A finished track."""

    track: str
    way: str
    purpose: str
    title: str
    files: tuple[FileFacts, ...]
    turns: tuple[TurnFacts, ...]
    bars: tuple[BarFacts, ...]
    cues: tuple[CueFacts, ...]


def _seconds(frame: int) -> float:
    return round(frame / SAMPLE_RATE_HZ, DIGITS)


def turns_of(plan: TrackPlan) -> tuple[TurnFacts, ...]:
    """Return the turns of a track, count-ins included: one for each passage."""
    turns: list[TurnFacts] = []
    for placed in plan.passages:
        passage = placed.passage
        speed = f"{float(passage.source.speed):.0%}"
        if placed.start_frame > placed.count_frame and passage.count_in_bars:
            times = _seconds(placed.count_frame), _seconds(placed.start_frame)
            turns.append(TurnFacts("count-in", *times, str(NOTHING), str(NOTHING), speed, passage.step))
        turn = TurnFacts(
            passage.whose,
            _seconds(placed.start_frame),
            _seconds(placed.end_frame),
            str(passage.heard),
            str(passage.guide),
            speed,
            passage.step,
        )
        turns.append(turn)
    return tuple(turns)


def bars_of(plan: TrackPlan, playing: Playing) -> tuple[BarFacts, ...]:
    """Return the bars of a track in the order played, those of the student's turns included."""
    return tuple(
        BarFacts(bar.number, bar.section, bar.pass_number, _seconds(start), _seconds(end))
        for bar, start, end in bar_frames(plan, playing)
    )


def bar_frames(plan: TrackPlan, playing: Playing) -> Iterator[tuple[Bar, int, int]]:
    """Yield the bars of a track in the order played, or the part of each that is, from a frame up to another."""
    for placed in plan.passages:
        passage = placed.passage
        performed = playing.performed(passage.source)
        zero = placed.zero_frame(performed)
        for bar in bars_between(performed.arrangement, passage.start_beat, passage.end_beat):
            start = max(bar.start_beat, passage.start_beat)
            end = min(bar.start_beat + bar.length_beat, passage.end_beat)
            if start < end:
                yield bar, zero + performed.frame(start), zero + performed.frame(end)


def note_frames(plan: TrackPlan, playing: Playing) -> Iterator[tuple[TakeNote, int, int]]:
    """Yield the notes of a track as they are played, each from a frame up to another; turns and layers left aside."""
    for placed in plan.passages:
        passage = placed.passage
        performed = playing.performed(passage.source)
        zero = placed.zero_frame(performed)
        for index in performed.between(passage.start_beat, passage.end_beat):
            one = performed.notes[index]
            yield one.note, zero + one.onset_frame, zero + one.end_frame


def cues_of(plan: TrackPlan) -> tuple[CueFacts, ...]:
    """Return the cues of a track in order."""
    return tuple(CueFacts(cue.kind, _seconds(cue.frame)) for cue in plan.cues)
