"""Templates: what a stroke's spectrum looks like on the axis of pitches, and how well what newly sounds fits it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tercet.hearing.spectra import (
    BINS_AN_OCTAVE,
    RATE_HZ,
    FloatArray,
    Samples,
    axis_hz,
    hz_of,
    powers_at,
    to_axis,
)
from tercet.hearing.wanted import WantedStroke

__all__ = ["NewlySounding", "fits", "newly_sounding", "pitch_template", "stroke_templates"]

PARTIALS = 10
"""A thumb's stroke on nylon has little above."""

WINDOW_FRAMES, TRANSFORM = 2048, 4096
AFTER_S = 0.03
"""The window begins so long after the onset: past the thumb's knock."""

BEFORE_S = 0.008
TAKEN_OUT = 0.8
"""Of the power that sounded before: it has died away a little since."""

WHITE = 0.5
"""How far the long-term spectrum is divided out, as an exponent: microphones and instruments colour alike."""


def pitch_template(midi: float, cents: float = 0.0, window_frames: int = WINDOW_FRAMES) -> FloatArray:
    """Return a plucked string's amplitudes on the axis of pitches, of length 1: partials that fall as 1/h."""
    base_hz = hz_of(midi, cents)
    centre = axis_hz()
    sum_ = np.zeros(len(centre))
    for partial in range(1, PARTIALS + 1):
        hz = base_hz * partial
        if hz > centre[-1]:
            break
        width = max(0.6 * hz * (2.0 ** (1.0 / BINS_AN_OCTAVE) - 1.0), 1.3 * RATE_HZ / window_frames)
        sum_ += np.exp(-0.5 * ((centre - hz) / width) ** 2) / partial
    return np.asarray(sum_ / np.linalg.norm(sum_))


def stroke_templates(strokes: Sequence[WantedStroke], cents: float) -> FloatArray:
    """Return a template for each stroke, (strokes, axis), of length 1: its strings added, louder ones a little more."""
    keys = sorted({string.midi for stroke in strokes for string in stroke.strings})
    alone = {midi: pitch_template(midi, cents) for midi in keys}
    made = np.empty((len(strokes), len(axis_hz())))
    for n, stroke in enumerate(strokes):
        if stroke.action == "chop":
            made[n] = 1.0
            continue
        top_db = max(string.level_db for string in stroke.strings)
        made[n] = sum(10.0 ** ((s.level_db - top_db) / 40.0) * alone[s.midi] for s in stroke.strings)
    roots = np.sqrt(made)
    return np.asarray(roots / np.linalg.norm(roots, axis=1, keepdims=True))


@dataclass(frozen=True)
class NewlySounding:
    """What newly sounds at some times: amplitudes (times, axis), and the colour of the recording, taken out of them."""

    amplitudes: FloatArray
    colour: FloatArray


def newly_sounding(samples: Samples, times_s: FloatArray) -> NewlySounding:
    """Return what newly sounds at each time: what sounds after it without what sounded before, in powers."""
    after = _powers(samples, times_s + AFTER_S)
    before = _powers(samples, times_s - BEFORE_S - WINDOW_FRAMES / RATE_HZ)
    matrix = to_axis(TRANSFORM)
    colour = _colour(np.sqrt(after) @ matrix)
    return NewlySounding((np.sqrt(np.maximum(after - TAKEN_OUT * before, 0.0)) @ matrix) / colour, colour)


def _powers(samples: Samples, starts_s: FloatArray) -> FloatArray:
    return powers_at(samples, np.round(starts_s * RATE_HZ).astype(np.int64), WINDOW_FRAMES, TRANSFORM)


def _colour(amplitudes: FloatArray) -> FloatArray:
    """Return the long-term spectrum, smoothed over an octave, as far as it is divided out."""
    mean = np.maximum(amplitudes.mean(axis=0), 1e-9)
    reach = BINS_AN_OCTAVE // 2
    smooth = np.convolve(np.pad(mean, reach, "edge"), np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), "valid")
    return np.asarray((smooth / smooth.max()) ** WHITE)


def fits(new: NewlySounding, templates: FloatArray) -> FloatArray:
    """Return how well what newly sounds fits each template, (onsets, strokes), from 0 to 1."""
    roots = np.sqrt(np.maximum(new.amplitudes, 0.0))
    roots /= np.linalg.norm(roots, axis=1, keepdims=True) + 1e-9
    return np.asarray(roots @ templates.T)
