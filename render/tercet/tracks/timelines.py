"""What a track goes through: which music, how fast, who plays and what is heard softly, passage by passage."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tercet.tracks.choice import Choice, parse_choice

__all__ = ["ALL", "NOTHING", "Passage", "Piece", "Source", "TrackTimeline", "Whose"]

ALL, NOTHING = parse_choice("all"), parse_choice("nothing")

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
    """

    piece: Piece = "song"
    speed: Fraction = Fraction(1)
    flat: bool = False
    steady: bool = False


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
