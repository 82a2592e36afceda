"""The cues of a kit: heard once by themselves, in a song of rests, then found again in any track and taken out.

A song of rests holds nothing but cues, and no gain of a song changes them: what sounds there is the knock of a bar's
first beat, the knock of the others, their soft kind and the bell. With them known, a cue is found to the frame, and
what is left when it is taken out is music, or should be silence.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.measure.audio import Samples, Track
from tests.measure.passages import cut, gains_in, lag_of

__all__ = ["SONG_OF_RESTS", "CueSounds", "HeardCue", "hear_cue", "moments_of", "without_cues"]

SONG_OF_RESTS = """\
title: Song of Rests
licence: CC0-1.0
key: C major
meter: 3/4
tempo: 40
sections:
  rest: |
    chords   N.C. | N.C. | N.C. | N.C.
    melody   .:3  | .:3  | .:3  | .:3
"""
"""Of its track ``turns-bars`` the sounds are cut: at 1.5 s a beat nothing overlaps but bell and first pulse."""

BEAT_S = 1.5
LENGTH_S = 1.45
PLACE_ORDER, GAIN_ORDER = 3, 2
"""Strings ring an octave and more below the cues. So a cue is placed by steps of a high order from sample to sample,
which leave little of strings; one order more would let the skin of a thumb on them outweigh a bell. How loud it is, by
a lower one, which leaves less of the noise of 16 bits."""

SILENCE = 1e-5
"""Less than a step of 16 bits."""


@dataclass(frozen=True, slots=True)
class CueSounds:
    """The sounds of cues, mono (frames,), full scale 1, and how loud a pulse is against a knock of the count-in."""

    first: NDArray[np.float64]
    later: NDArray[np.float64]
    bell: NDArray[np.float64]
    pulse_gain: float

    @classmethod
    def heard_in(cls, track: Track) -> CueSounds:
        """Cut the sounds out of ``turns-bars`` of the song of rests: one bar counted, bell and pulses, bell."""
        length = round(LENGTH_S * track.rate_hz)

        def at(beat: int) -> NDArray[np.float64]:
            sound = cut(track.samples, round(beat * BEAT_S * track.rate_hz), length).mean(axis=1)
            loud = np.flatnonzero(np.abs(sound) > SILENCE)
            return np.asarray(sound[: loud[-1] + 1] if len(loud) else sound[:0], np.float64)

        later = at(1)
        (pulse_gain,) = gains_in(at(7)[: len(later)], [later[: len(at(7))]])
        return cls(at(0), later, at(9), pulse_gain)

    def of(self, kinds: Iterable[str]) -> tuple[NDArray[np.float64], ...]:
        """Return what cues that are struck at one moment may sound like together: ``count``, ``pulse``, ``bell``."""
        wanted = set(kinds)
        gain = self.pulse_gain if "pulse" in wanted else 1.0
        knocks = [gain * self.first, gain * self.later] if wanted & {"pulse", "count"} else [self.first[:0]]
        bell = self.bell if "bell" in wanted else self.bell[:0]
        return tuple(_added(knock, bell) for knock in knocks)


def _added(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    length = max(len(one), len(other))
    return np.pad(one, (0, length - len(one))) + np.pad(other, (0, length - len(other)))


def moments_of(cues: Iterable[tuple[str, float]]) -> dict[float, tuple[str, ...]]:
    """Return when something is struck, in order, and which cues are struck there."""
    found: dict[float, tuple[str, ...]] = {}
    for kind, onset_s in sorted(cues, key=lambda cue: cue[1]):
        found[onset_s] = (*found.get(onset_s, ()), kind)
    return found


@dataclass(frozen=True, slots=True)
class HeardCue:
    """A cue that is heard: its frame, its sound, how much of it there is and how alike it is, 1 being all."""

    frame: int
    sound: NDArray[np.float64]
    gain: float
    likeness: float


def hear_cue(
    samples: Samples, sounds: Iterable[NDArray[np.float64]], about: int, reach: int = 16
) -> HeardCue:
    """Return the cue that is heard near a frame: the sound, of some, that is most like it there.

    Parameters
    ----------
    samples
        A track, best without its music.
    sounds
        What it may sound like.
    about, reach
        Where it is looked for, in frames: kit.json tells times to 0.1 ms, 5 frames.
    """
    best = HeardCue(about, np.zeros(0), 0.0, -1.0)
    for sound in sounds:
        wide = np.repeat(sound[:, None], samples.shape[1], axis=1)
        lag = lag_of(samples, wide.astype(np.float32), 0, len(wide), about, reach, PLACE_ORDER)
        if lag.likeness > best.likeness:
            heard, wanted = (
                np.diff(each, GAIN_ORDER, axis=0) for each in (cut(samples, lag.frames, len(wide)), wide)
            )
            (gain,) = gains_in(heard, [wanted])
            best = HeardCue(lag.frames, sound, gain, lag.likeness)
    return best


def without_cues(
    track: Track, cues: Iterable[tuple[str, float]], sounds: CueSounds
) -> tuple[Samples, dict[float, int]]:
    """Return a track without its cues, and the frame at which each moment that is told is heard.

    Parameters
    ----------
    track
        Any track.
    cues
        What is said to be in it: kind and seconds.
    sounds
        What they sound like.
    """
    left = track.samples.copy()
    frames = {}
    for onset_s, kinds in moments_of(cues).items():
        cue = hear_cue(left, sounds.of(kinds), round(onset_s * track.rate_hz))
        start, end = max(cue.frame, 0), min(cue.frame + len(cue.sound), len(left))
        left[start:end] -= cue.sound[start - cue.frame : end - cue.frame, None].astype(np.float32)
        frames[onset_s] = cue.frame
    return left, frames
