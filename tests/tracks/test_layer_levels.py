"""What is told of a mix of a song's layers without measuring it, against a meter that hears all of it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.song import Layer
from tercet.sound.loudness import Meter, MixMeter
from tercet.tracks.cues import Cue, add_cue
from tercet.tracks.layer_levels import STEP_FRAMES, KnownMeter, LayerLevels, head_frames_of
from tests.tracks.plucks import plucks

RATE_HZ = 48_000
LAYERS: tuple[Layer, ...] = ("melody", "between", "strums")
MIXES = ((0, 1, 2), (0,), (1,), (2,), (1, 2), (0, 2), (0, 1))
SECONDS = 12


@pytest.fixture(scope="module")
def layers() -> list[NDArray[np.float32]]:
    return [np.float32(gain) * plucks(SECONDS, seed) for seed, gain in enumerate((0.3, 0.2, 0.1))]


def levels_of(layers: list[NDArray[np.float32]], split_frames: int) -> LayerLevels:
    meter = MixMeter(RATE_HZ, MIXES, split_frames)
    for start in range(0, len(layers[0]), 65_536):
        meter.feed(*(layer[start : start + 65_536] for layer in layers))
    products = meter.finish_products().astype(np.float32)
    peaks = dict(zip(MIXES, meter.peaks, strict=True))
    return LayerLevels(tuple((layer,) for layer in LAYERS), split_frames, products, peaks)


def track_of(layers: list[NDArray[np.float32]], mix: tuple[int, ...], shift: int) -> NDArray[np.float32]:
    """Return a mix that begins later, or somewhat sooner, under a gain of 6.02 dB."""
    heard = np.float32(2.0) * np.sum([layers[number] for number in mix], axis=0)
    return np.concatenate([np.zeros((shift, 2), np.float32), heard]) if shift >= 0 else heard[-shift:]


def told_of(meter: Meter | KnownMeter, track: NDArray[np.float32]) -> tuple[float, float]:
    for start in range(0, len(track), 30_000):
        meter.feed(track[start : start + 30_000])
    return meter.finish()


@pytest.mark.parametrize("mix", MIXES)
@pytest.mark.parametrize("shift", [0, 3 * STEP_FRAMES, 60_001, 1_234])
def test_what_is_known_is_what_would_be_measured(
    layers: list[NDArray[np.float32]], mix: tuple[int, ...], shift: int
) -> None:
    levels = levels_of(layers, -shift % STEP_FRAMES)
    assert levels.fits(shift)
    assert not levels.fits(shift + 1)
    assert levels.mix([LAYERS[number] for number in mix]) == mix
    track = track_of(layers, mix, shift)
    known = KnownMeter(levels, mix, shift, len(track), 0, 20.0 * np.log10(2.0))
    assert told_of(known, track) == pytest.approx(told_of(Meter(RATE_HZ), track), abs=1e-3)


def test_where_cues_sound_a_track_is_measured(layers: list[NDArray[np.float32]]) -> None:
    shift, mix = 60_001, (0, 2)
    levels = levels_of(layers, -shift % STEP_FRAMES)
    track = track_of(layers, mix, shift)
    cues = [Cue("count", 1_000, first=True), Cue("count", 31_000)]
    for cue in cues:
        add_cue(cue, track, 0)
    known = KnownMeter(levels, mix, shift, len(track), head_frames_of(cues), 20.0 * np.log10(2.0))
    assert told_of(known, track) == pytest.approx(told_of(Meter(RATE_HZ), track), abs=2e-3)
    deaf = KnownMeter(levels, mix, shift, len(track), 0, 20.0 * np.log10(2.0))
    assert told_of(deaf, track)[0] != pytest.approx(told_of(Meter(RATE_HZ), track)[0], abs=2e-3)


def test_layers_that_are_one_part_are_no_mix_by_themselves(layers: list[NDArray[np.float32]]) -> None:
    meter = MixMeter(RATE_HZ)
    meter.feed(layers[0])
    products = meter.finish_products().astype(np.float32)
    levels = LayerLevels((LAYERS,), 0, products, {(0,): meter.peaks[0]})
    assert levels.mix(LAYERS) == (0,)
    assert levels.mix(["melody"]) is None
