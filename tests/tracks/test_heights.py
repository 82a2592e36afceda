"""How high a song gets at a speed, from its loudest strokes alone: as high as when all of it is played."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tercet.arranging import arrange
from tercet.song import read_song
from tercet.sound.loudness import true_peak_dbtp
from tercet.sound.sampler import UkuleleSampler
from tercet.tracks import heights
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.in_memory import WholeSong
from tercet.tracks.playing import Playing
from tests.kits import SHORT_SONG

SPEEDS = (Fraction(1, 2), Fraction(73, 100), Fraction(6, 5))


@pytest.fixture(scope="module", params=[False, True], ids=["in the room", "dry"])
def playing(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Playing:
    path = tmp_path_factory.mktemp("song") / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    return Playing(arrange(read_song(path)), UkuleleSampler(), dry=request.param)


def off_db(playing: Playing, work: Path) -> list[float]:
    """Return for each speed by how much the peak that is told lies over that of the whole song."""
    song = WholeSong(playing, SPEEDS, BatchCache(work))
    trims_db = song.balance.trims_db["song", False]
    gains_db = {layer: trims_db[layer] for layer in playing.arrangement.song.layers}
    wholes = [np.stack(list(song.parts(speed).values())).sum(axis=0) for speed in SPEEDS]
    return [
        heights.peak_dbtp_at(playing, speed, gains_db) - true_peak_dbtp(whole)
        for speed, whole in zip(SPEEDS, wholes, strict=True)
    ]


def test_the_peak_of_a_song_is_found_at_any_speed(playing: Playing, tmp_path: Path) -> None:
    assert np.abs(off_db(playing, tmp_path)).max() < 0.03


def test_the_measure_sees_strokes_that_are_passed_over(
    playing: Playing, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(heights, "AROUND_FRAMES", 200)
    assert np.abs(off_db(playing, tmp_path)).max() > 0.03
