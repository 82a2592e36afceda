"""Front and back: how far the strums lay behind the melody, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tercet.hearing.levels import GainTrack, LevelMeter
from tercet.hearing.model import Front
from tercet.hearing.sentences import said
from tercet.hearing.spectra import FloatArray
from tercet.hearing.wanted import WantedStroke, WantedTake

__all__ = ["front_of"]

FEWEST = 5
"""Strokes of each layer that a median is taken of."""

LEAST_OVER_NOISE_DB = 8.0
"""Strums that don't stand so far out of the noise can't be measured."""

OWN_ERROR_LU = 0.6
GAIN_ERROR_LU = 1.0
"""What the method itself is off by, as measured, without and with an automatic gain."""


def front_of(
    strokes: Sequence[WantedStroke],
    levels_db: FloatArray,
    gain: GainTrack,
    meter: LevelMeter,
    wanted: WantedTake,
) -> Front:
    """Return the distance of the median strokes of melody and strums, as heard and as wanted."""
    wanted_lu = _between({layer: _wanted_levels(wanted, layer) for layer in ("melody", "strums")})
    own = {layer: _own_levels(strokes, levels_db, layer) for layer in ("melody", "strums")}
    lu = _between(own)
    if wanted_lu is None:
        return Front(None, None, None, gain.controlled, said("front_nothing"))
    if lu is None:
        return Front(None, None, wanted_lu, gain.controlled, said("front_few"))
    if gain.gated:
        return Front(None, None, wanted_lu, gain.controlled, said("front_gated"))
    if meter.over_noise_db(own["strums"]) < LEAST_OVER_NOISE_DB:
        return Front(None, None, wanted_lu, gain.controlled, said("front_noise"))
    error = float(np.hypot(_error(own["melody"]), _error(own["strums"])))
    method = GAIN_ERROR_LU if gain.controlled else OWN_ERROR_LU
    return Front(lu, float(np.hypot(error, method)), wanted_lu, gain.controlled)


def _own_levels(strokes: Sequence[WantedStroke], levels_db: FloatArray, layer: str) -> FloatArray:
    """Return the levels of a layer's strokes."""
    mine = np.array([s.layer == layer and s.action != "chop" for s in strokes]) & np.isfinite(levels_db)
    return levels_db[mine]


def _wanted_levels(wanted: WantedTake, layer: str) -> FloatArray:
    return np.array([s.level_db for s in wanted.strokes if s.layer == layer and s.action != "chop"])


def _between(levels_db: dict[str, FloatArray]) -> float | None:
    if any(len(levels) < FEWEST for levels in levels_db.values()):
        return None
    return float(np.median(levels_db["melody"]) - np.median(levels_db["strums"]))


def _error(levels_db: FloatArray) -> float:
    """Return the standard error of a median, from the middle half."""
    low, high = np.percentile(levels_db, (25, 75))
    return float(1.25 * (high - low) / 1.35 / np.sqrt(len(levels_db)))
