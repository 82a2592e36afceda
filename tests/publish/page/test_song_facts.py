"""When a page's stems sound: peaks by bar, what a speed lacks, and the strokes of a count-in."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from tercet.performing import Take, lay_out, perform
from tercet.publish.page.song_facts import song_facts, speed_facts
from tercet.publish.page.sound import SpeedTiming, bar_peaks
from tests.performing.pieces import Visit, piece, tune

RATE_HZ = 1000
WITH_PICKUP = piece(
    *(tune(beat, 1) for beat in range(9)), visits=(Visit("verse", 1, 2, Fraction(1)),), tempo=90, marks={}
)


def take_of(speed: Fraction = Fraction(1)) -> Take:
    return perform(WITH_PICKUP, lay_out(WITH_PICKUP, None, speed, 0), dry=True)


def test_each_bar_knows_its_own_peak_and_the_last_what_rings_after_it() -> None:
    take = take_of()
    end = round((take.bars[-1].end_s + 1.0) * RATE_HZ)
    stem = np.zeros((end, 1), np.float32)
    heights = [0.2, 0.5, 0.3]
    for bar, height in zip(take.bars, heights, strict=True):
        stem[round(bar.start_s * RATE_HZ)] = -height
        stem[round(bar.end_s * RATE_HZ) - 1] = height / 2
    assert bar_peaks(stem, take, RATE_HZ) == pytest.approx(heights, abs=1e-4)
    stem[0], stem[-1] = 0.7, 0.9
    assert bar_peaks(stem, take, RATE_HZ) == pytest.approx([0.7, 0.5, 0.9], abs=1e-4)


def test_what_is_hardly_heard_is_not_nothing() -> None:
    take = take_of()
    stem = np.full((round(take.bars[-1].end_s * RATE_HZ), 1), 0.0004, np.float32)
    assert bar_peaks(stem, take, RATE_HZ) == [0.0004] * 3


def test_a_stem_that_ends_early_is_silent_in_the_bars_after() -> None:
    take = take_of()
    stem = np.full((round(take.bars[1].start_s * RATE_HZ), 1), 0.4, np.float32)
    assert bar_peaks(stem, take, RATE_HZ)[0] == pytest.approx(0.4, abs=1e-4)
    assert bar_peaks(stem[:0], take, RATE_HZ) == [0.0, 0.0, 0.0]


@pytest.mark.parametrize("speed", [Fraction(1), Fraction(3, 5), Fraction(5, 4)])
def test_times_are_those_of_the_take(speed: Fraction) -> None:
    take = take_of(speed)
    facts = song_facts(WITH_PICKUP, take)
    less = replace(take, notes=take.notes[1:])
    told = speed_facts(SpeedTiming(speed, less, 9.5, {"melody": [0.1, 0.2, 0.3]}), WITH_PICKUP, facts.order)
    assert told["length"] == 9500
    assert told["percent"] == pytest.approx(float(100 * speed))
    assert told["peaks"] == {"melody": [0.1, 0.2, 0.3]}
    assert told["bars"] == [[round(1000 * bar.start_s), round(1000 * bar.end_s)] for bar in take.bars]
    assert (told["onset"][0], told["end"][0]) == (-1, -1), "the note that this speed lacks"
    for note, onset, end in zip(take.notes[1:], told["onset"][1:], told["end"][1:], strict=True):
        assert (onset, end) == (round(1000 * note.onset_s), round(1000 * (note.onset_s + note.length_s)))


@pytest.mark.parametrize("speed", [Fraction(1), Fraction(3, 5)])
def test_a_count_in_fills_whole_bars_before_a_bar_and_before_a_pick_up(speed: Fraction) -> None:
    take = take_of(speed)
    facts = speed_facts(SpeedTiming(speed, take, 9.5, {}), WITH_PICKUP, song_facts(WITH_PICKUP, take).order)
    pulse_ms = 60_000 / 90 / float(speed)
    assert set(facts["count"]) == {"bar", "pickup"}
    for kind, pickup_pulses in (("bar", 0), ("pickup", 1)):
        for bars, strokes in zip((1, 2), facts["count"][kind], strict=True):
            number = 4 * bars - pickup_pulses
            assert [at for at, _ in strokes] == pytest.approx(
                [-pulse_ms * (number - place) for place in range(number)], abs=1.0
            )
            assert [first for _, first in strokes] == [int(place % 4 == 0) for place in range(number)]
