"""What `--loud` does: one curve, from the demo, that lowers peaks in every track alike."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.sound.loudness import block_heights, true_peak_dbtp
from tercet.tracks.easing import MOST_DB, Easing, Stretch, eased, easing_of
from tests.tracks.plucks import plucks

Sound = NDArray[np.float32]
START = 1_000


def in_blocks(sound: Sound, frames: int = 65_536) -> Iterator[Sound]:
    for start in range(0, len(sound), frames):
        yield sound[start : start + frames]


def whole(sound: Sound, easing: Easing, *stretches: Stretch, frames: int = 65_536) -> Sound:
    given = stretches or (Stretch(0, START, 1.0, easing),)
    return np.concatenate(list(eased(in_blocks(sound, frames), given)))


@pytest.fixture(scope="module")
def layers() -> list[Sound]:
    first, second = plucks(12), np.roll(plucks(12), 31_000, axis=0)
    return [first, 0.5 * second]


@pytest.fixture(scope="module")
def easing(layers: list[Sound]) -> Easing:
    demo = layers[0] + layers[1]
    heights = np.max([block_heights(each) for each in (demo, *layers)], axis=0)
    return easing_of(heights, START, true_peak_dbtp(demo))


def test_the_highest_peak_comes_down_by_all_of_it_and_most_of_the_song_stays(
    layers: list[Sound], easing: Easing
) -> None:
    demo = layers[0] + layers[1]
    heard = whole(demo, easing)
    assert true_peak_dbtp(heard) <= true_peak_dbtp(demo) - MOST_DB + 1e-3
    assert 0.0 <= easing.down_db.min() <= easing.down_db.max() <= MOST_DB + 1e-9
    assert easing.down_db[0] == easing.down_db[-1] == 0.0
    assert np.abs(np.diff(easing.down_db)).max() <= 0.3


def test_layers_that_are_eased_still_add_up(layers: list[Sound], easing: Easing) -> None:
    demo = whole(layers[0] + layers[1], easing)
    apart = whole(layers[0], easing) + whole(layers[1], easing)
    assert np.abs(demo - apart).max() <= 1e-6


def test_the_curve_belongs_to_the_song_wherever_a_track_plays_it(layers: list[Sound], easing: Easing) -> None:
    later = np.concatenate([np.zeros((5_120, 2), np.float32), layers[0]])
    moved = whole(later, easing, Stretch(0, START + 5_120, 1.0, easing), frames=4_096)
    assert np.abs(moved[5_120:] - whole(layers[0], easing)).max() <= 1e-6
    place = int(np.argmax(easing.down_db))
    frame = easing.first_frame + 256 * place
    slowly = whole(np.ones((1_300_000, 2), np.float32), easing, Stretch(0, 0, 0.5, easing))
    lowest = slowly[round(2 * frame), 0]
    assert 20 * np.log10(lowest) == pytest.approx(-easing.down_db[place], abs=0.05)


def test_what_is_no_part_of_the_demo_stays(layers: list[Sound], easing: Easing) -> None:
    assert np.array_equal(whole(layers[0], easing, Stretch(0, START, 1.0, None)), layers[0])
