from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from render.arrange import Arrangement, arrange, song_tuning
from render.perform import Take, lay_out
from render.song import read_song
from render.sound import STEM_NAMES, Stems
from render.sound.fake import FakeSynthesiser
from render.sound.room import in_room, room_identity
from render.tracks.kit import Playing
from tests.kits import HARBOUR_LANTERNS, SHORT_SONG


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
        plain = playing.synthesiser.stems(playing.take(timeline))
        expected = plain if dry else in_room(plain)
        for made in (playing.stems(timeline), playing.stems_of(playing.take(timeline))):
            for name in STEM_NAMES:
                assert np.array_equal(made.by_name[name], expected.by_name[name])


def test_dry_and_in_the_room_are_known_apart(arrangement: Arrangement) -> None:
    wet, dry = (Playing(arrangement, FakeSynthesiser(), dry=dry) for dry in (False, True))
    assert wet.sound_identity() == f"{wet.synthesiser.identity()}, {room_identity()}"
    assert dry.sound_identity() == f"{wet.synthesiser.identity()}, dry"


class Spiky(FakeSynthesiser):
    """A sound that peaks high where all is marked alike, as in a flat take."""

    def stems(self, take: Take) -> Stems:
        made = super().stems(take)
        if {note.mark_db for note in take.notes} == {0.0}:
            made.by_name["strums"][48_000] += 2.0
        return made


def test_a_flat_take_that_cannot_be_as_loud_as_the_demo_says_so(tmp_path: Path) -> None:
    path = tmp_path / "short.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    arrangement = arrange(read_song(path))
    for sound, told in ((FakeSynthesiser(), 0), (Spiky(), 1)):
        playing = Playing(arrangement, sound, dry=True, flat=True)
        playing.demo_gain_db(-1.0)
        found = [notice for notice in playing.notices() if "softer than its demo" in notice]
        assert len(found) == told
        assert not Playing(arrangement, sound, dry=True).notices()
