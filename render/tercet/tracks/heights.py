"""How high a song gets at a speed, without playing all of it: only where its hands are loudest.

Slower or quicker, other strings meet, and a track may come higher than the song at full speed, by which its gain was
chosen; then it alone gets as much less as it needs (`tercet.tracks.track_files`). A page that plays any speed needs to
know by how much, for each. The highest sample lies at one of the loudest strokes; so those are played, in the room.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from tercet.performing import Take, lay_out
from tercet.song import Layer
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.loudness import true_peak_dbtp
from tercet.sound.room import RESPONSE_FRAMES, layer_responses
from tercet.sound.sampler import UkuleleSampler
from tercet.tracks.in_memory import on_grid
from tercet.tracks.playing import Playing

__all__ = ["peak_dbtp_at"]

MOST_LOOKED_AT = 24
"""Strokes that are played; the highest sample of our songs lies at one of the ten loudest."""

BEFORE_FRAMES, AROUND_FRAMES = 480, 4_096
"""What is looked at of each: from how long before it is heard, and how much."""

TOGETHER_S, RINGING_S, STILL_RINGS = 0.04, 1.0, 0.3
"""Strings struck within the first time add up; of one struck within the second, about so much still sounds."""


def peak_dbtp_at(playing: Playing, speed: Fraction, gains_db: Mapping[Layer, float]) -> float:
    """Return the true peak in dBTP of a song on the built-in ukulele at a speed, without a count-in.

    Parameters
    ----------
    playing
        The song being played.
    speed
        1 is the song's tempo.
    gains_db
        Of each layer.
    """
    _, take = on_grid(playing.take(lay_out(playing.arrangement, None, speed, 0)))
    begins = [frame - BEFORE_FRAMES for frame in _loudest_frames(take, gains_db)]
    size = RESPONSE_FRAMES + AROUND_FRAMES
    history = 0 if playing.dry else RESPONSE_FRAMES
    starts = [begin - history for begin in begins]
    excerpts = UkuleleSampler().excerpts(take, starts, history + AROUND_FRAMES)
    heard = np.zeros((len(begins), 2, AROUND_FRAMES), np.float32)
    for layer, gain_db in gains_db.items():
        sound = excerpts[layer] * np.float32(10.0 ** (gain_db / 20.0))
        heard += sound[:, None, :] if playing.dry else _in_room(sound, layer, size)
    highest_dbtp = -np.inf
    for sides in heard:
        highest_dbtp = true_peak_dbtp(np.ascontiguousarray(sides.T), highest_dbtp)
    return float(highest_dbtp)


def _in_room(sound: NDArray[np.float32], layer: Layer, size: int) -> NDArray[np.float32]:
    """Return stretches (stretches, frames) of a layer as the listener has them, the end that is whole alone."""
    spectra = np.fft.rfft(layer_responses(layer), size).astype(np.complex64)
    both = np.fft.rfft(sound, size)[:, None, :] * spectra
    return np.asarray(np.fft.irfft(both, size)[..., RESPONSE_FRAMES:], np.float32)


def _loudest_frames(take: Take, gains_db: Mapping[Layer, float]) -> list[int]:
    """Return when the strings are struck with which most sounds, the loudest first."""
    onsets_s = np.array([note.onset_s for note in take.notes])
    heights = np.array([10.0 ** ((note.level_db + gains_db[note.layer]) / 20.0) for note in take.notes])
    ago_s = onsets_s[:, None] - onsets_s[None, :]
    weights = np.where((ago_s >= 0.0) & (ago_s < RINGING_S), STILL_RINGS, 0.0)
    weights[np.abs(ago_s) < TOGETHER_S] = 1.0
    sums = weights @ heights
    frames: list[int] = []
    for index in np.argsort(-sums, kind="stable"):
        frame = round(onsets_s[index] * SAMPLE_RATE_HZ)
        if all(abs(frame - other) > AROUND_FRAMES // 2 for other in frames):
            frames.append(frame)
        if len(frames) == MOST_LOOKED_AT:
            break
    return frames
