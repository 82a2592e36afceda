"""A whole song at several speeds, part by part: what a page plays, balanced as the song's tracks are."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tercet.tracks.balance import Balance
from tercet.tracks.choice import parse_choice
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.phrases import whole_range
from tercet.tracks.playing import Playing
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Passage, Source, TrackTimeline

__all__ = ["PARTS", "WholeSong"]

PARTS = {"melody": "melody", "tune": "between and tune", "between": "between and added", "strums": "strums"}
"""What a song is cut into, and the notes of each: the layers, but that the tune's notes of *between* stand apart from
the added ones. So all of the tune can be taken out; together they are the demo."""


class WholeSong:
    """A song from beginning to end at some speeds, without a count-in.

    Parameters
    ----------
    playing
        The song and its sound.
    speeds
        1 is the song's tempo.
    cache
        Where what was played is kept.
    """

    def __init__(self, playing: Playing, speeds: Sequence[Fraction], cache: BatchCache) -> None:
        beats = whole_range(playing.arrangement)
        self._speeds = tuple(speeds)
        timelines = [
            TrackTimeline(
                (Passage(Source(speed=speed), beats.start_beat, beats.end_beat, parse_choice(notes)),)
            )
            for speed, notes in product(self._speeds, PARTS.values())
        ]
        self._recording = Recording(playing, timelines, cache)

    @cached_property
    def balance(self) -> Balance:
        """What all tracks of the song share."""
        return self._recording.balance()

    def parts(self, speed: Fraction) -> dict[str, NDArray[np.float32]]:
        """Return the parts at one of the speeds, before the song's gain, each float32 (frames, 2) and equally long.

        They begin where a take of the whole song without a count-in does.
        """
        first = self._speeds.index(speed) * len(PARTS)
        return {
            part: np.concatenate(list(self._recording.music(first + place, self.balance)))
            for place, part in enumerate(PARTS)
        }
