"""A whole song at several speeds, layer by layer: what a page plays, balanced as the song's tracks are."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from tercet.song import LAYERS
from tercet.sound import SAMPLE_RATE_HZ, Stems
from tercet.tracks.phrases import whole_stretch
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Passage, Source, TrackTimeline

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from tercet.sound.protocol import StemName
    from tercet.tracks.balance import Balance
    from tercet.tracks.playing import Playing
    from tercet.tracks.tape_shelf import TapeShelf

__all__ = ["WholeSong"]


class WholeSong:
    """A song from beginning to end at some speeds, without a count-in.

    Parameters
    ----------
    playing
        The song and its sound.
    speeds
        1 is the song's tempo.
    shelf
        Where what was played is kept.
    """

    def __init__(self, playing: Playing, speeds: Sequence[Fraction], shelf: TapeShelf) -> None:
        stretch = whole_stretch(playing.arrangement)
        self._speeds = tuple(speeds)
        timelines = [
            TrackTimeline((Passage(Source(speed=speed), stretch.start_beat, stretch.end_beat),))
            for speed in self._speeds
        ]
        self._recording = Recording(playing, timelines, shelf)

    @cached_property
    def balance(self) -> Balance:
        """What all tracks of the song share."""
        return self._recording.balance()

    def stems(self, speed: Fraction) -> Stems:
        """Return the layers at one of the speeds, before the song's gain; the cues are silent.

        They begin where a take of the whole song without a count-in does.
        """
        import numpy as np

        index = self._speeds.index(speed)
        by_name: dict[StemName, NDArray[np.float32]] = {
            layer: np.concatenate(list(self._recording.music(index, self.balance, (layer,))))
            for layer in LAYERS
        }
        return Stems(SAMPLE_RATE_HZ, {**by_name, "cues": np.zeros_like(by_name["melody"])})
