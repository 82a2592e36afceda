"""A short song played with planted slips, rendered once for all tests of this room."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.hearing import Heard, hear, read_recording
from tercet.song import parse_song
from tests.hearing.performances import Performance, Played, play, record
from tests.kits import SHORT_SONG

LONGER = SHORT_SONG.replace("form: verse*2", "form: verse*3").replace("tempo: 132", "tempo: 104")

SLIPS = Performance("slips", speeds=(0.95, 1.02, 0.93), wrong=2, missed=1, late=1, seed=3)
REPEATS = Performance(
    "repeats", ((0.0, 0.5), (0.34, 1.0)), (0.8, 0.76), pauses=1, cents={2: 30.0}, front=Fraction(9), seed=4
)


@pytest.fixture(scope="session")
def arrangement() -> Arrangement:
    song = parse_song(LONGER)
    return arrange(song, song_tuning(song))


@pytest.fixture(scope="session")
def slips(arrangement: Arrangement) -> Played:
    return play(arrangement, SLIPS)


@pytest.fixture(scope="session")
def repeats(arrangement: Arrangement) -> Played:
    return play(arrangement, REPEATS)


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("recordings")


@pytest.fixture(scope="session")
def slips_file(slips: Played, folder: Path) -> Path:
    return record(slips, "phone", folder / "Ada")


@pytest.fixture(scope="session")
def slips_heard(slips_file: Path, arrangement: Arrangement) -> Heard:
    return hear(read_recording(slips_file), arrangement)


@pytest.fixture(scope="session")
def repeats_file(repeats: Played, folder: Path) -> Path:
    return record(repeats, "gain", folder / "Ben")


@pytest.fixture(scope="session")
def repeats_heard(repeats_file: Path, arrangement: Arrangement) -> Heard:
    return hear(read_recording(repeats_file), arrangement)
