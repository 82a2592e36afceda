from __future__ import annotations

import numpy as np
import pytest

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.performing import lay_out
from tercet.song import read_song
from tercet.sound import STEM_NAMES
from tercet.sound.room import in_room, room_identity
from tercet.tracks.playing import Playing
from tercet.tracks.timelines import Source
from tests.kits import HARBOUR_LANTERNS
from tests.sound.fake import FakeSynthesiser


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    song = read_song(HARBOUR_LANTERNS)
    return arrange(song, song_tuning(song))


@pytest.mark.parametrize("bars", [None, [0, 1]], ids=["whole", "two bars"])
def test_stems_are_in_the_room_once_and_dry_not_at_all(
    arrangement: Arrangement, bars: list[int] | None
) -> None:
    timeline = lay_out(arrangement, bars)
    for dry in (False, True):
        playing = Playing(arrangement, FakeSynthesiser(), dry=dry)
        take = playing.take(timeline)
        plain = playing.measured(Source()).stems(take)
        expected = plain if dry else in_room(plain)
        made = playing.stems_of(take, Source())
        for name in STEM_NAMES:
            assert np.array_equal(made.by_name[name], expected.by_name[name])


def test_dry_and_in_the_room_are_known_apart(arrangement: Arrangement) -> None:
    wet, dry = (Playing(arrangement, FakeSynthesiser(), dry=dry) for dry in (False, True))
    assert wet.sound_identity() == f"{wet.measured(Source()).identity()}, {room_identity()}"
    assert dry.sound_identity() == f"{wet.measured(Source()).identity()}, dry"
