"""Playing each set of a song with the gain that all share: how much, how often synthesised, how much kept."""

from __future__ import annotations

import math
import weakref
from collections.abc import Mapping
from fractions import Fraction

import numpy as np
import pytest

from render.arrange import arrange
from render.neck import TUNINGS
from render.perform import Take, lay_out
from render.song import parse_song
from render.sound import SAMPLE_RATE_HZ, Stems
from render.sound.fake import FakeSynthesiser
from render.tracks.kit import Playing, room_db
from render.tracks.loudness import true_peak_dbtp
from render.tracks.mixing import mix_layers
from render.tracks.sets import play_each
from tests.kits import SHORT_SONG

CEILINGS_DBTP = (-1.0, -2.0)


class Counting(FakeSynthesiser):
    """Counts what it is asked for, how many of its stems are alive at most, and can play louder."""

    def __init__(self, louder_db: float = 0.0) -> None:
        self.asked = 0
        self.most_alive = 0
        self._alive: list[weakref.ref[np.ndarray]] = []
        self._gain = np.float32(10.0 ** (louder_db / 20.0))

    def stems(self, take: Take) -> Stems:
        stems = super().stems(take)
        scaled = {
            name: samples if name == "cues" else self._gain * samples
            for name, samples in stems.by_name.items()
        }
        self.asked += bool(take.bars)  # strings that are measured belong to no bar
        self._alive.append(weakref.ref(scaled["melody"]))
        self.most_alive = max(self.most_alive, sum(each() is not None for each in self._alive))
        return Stems(SAMPLE_RATE_HZ, scaled)


def playing(tuning: str, synthesiser: FakeSynthesiser, *, simple: bool = False) -> Playing:
    return Playing(arrange(parse_song(SHORT_SONG), TUNINGS[tuning], simple=simple), synthesiser)


def gains_of(playings: list[Playing], speed: Fraction = Fraction(1)) -> list[dict[float, float]]:
    """Return the gains for each set, which must come in order, with stems of its own that don't pass full scale."""
    given: list[dict[float, float]] = []

    def write(index: int, stems: Stems, gains_db: Mapping[float, float]) -> None:
        assert index == len(given)
        assert max(gains_db.values()) <= room_db(stems)
        given.append(dict(gains_db))

    play_each(playings, lay_out(playings[0].arrangement, None, speed), CEILINGS_DBTP, write)
    return given


def demo_peak_dbtp(one: Playing) -> float:
    return true_peak_dbtp(mix_layers(one.stems(lay_out(one.arrangement))))


def test_one_set_gets_its_own_gain_and_is_synthesised_once() -> None:
    synthesiser = Counting()
    (gains,) = gains_of([playing("high-g", synthesiser)])
    assert synthesiser.asked == 1
    alone = playing("high-g", FakeSynthesiser())
    stems = alone.stems(lay_out(alone.arrangement))
    assert gains == {ceiling: alone.gain_db(ceiling, stems) for ceiling in CEILINGS_DBTP}


def test_softer_sets_get_the_gain_of_the_first() -> None:
    quiet = Counting(-20.0)
    gains = gains_of([playing("high-g", Counting()), playing("low-g", quiet), playing("baritone", quiet)])
    (own,) = gains_of([playing("high-g", Counting())])
    assert gains == [own, own, own]


@pytest.mark.parametrize("loud", [0, 1, 2])
def test_a_louder_set_keeps_under_every_ceiling_and_all_follow_it(loud: int) -> None:
    ours = [
        playing(tuning, Counting(20.0 if index == loud else 0.0))
        for index, tuning in enumerate(("high-g", "low-g", "baritone"))
    ]
    first, *others = gains_of(ours)
    assert others == [first, first]
    for ceiling, gain_db in first.items():
        peaks = [demo_peak_dbtp(one) + gain_db for one in ours]
        assert max(peaks) <= ceiling + 1e-6
        if loud:
            room = min(
                ceiling - max(peaks),
                *(room_db(one.stems(lay_out(one.arrangement))) - gain_db for one in ours),
            )
            assert room == pytest.approx(0.0, abs=1e-4)


def test_other_speeds_never_clip_and_share_too() -> None:
    ours = [playing("high-g", Counting(12.0)), playing("high-g", Counting(14.0), simple=True)]
    first, second = gains_of(ours, Fraction(3, 5))
    assert first == second
    assert all(map(math.isfinite, first.values()))


def test_one_set_is_held_at_a_time_and_none_is_played_more_often_than_it_must() -> None:
    synthesiser = Counting()
    ours = [playing(tuning, synthesiser) for tuning in TUNINGS]
    gains_of(ours)
    assert synthesiser.asked == 2 * len(ours) - 1
    assert synthesiser.most_alive == 1
    gains_of(ours)
    assert synthesiser.asked == 2 * (2 * len(ours) - 1)
    assert synthesiser.most_alive == 1
