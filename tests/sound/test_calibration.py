"""Loudness tables: what is measured, its inverse, and how it is kept."""

from __future__ import annotations

import logging
from collections.abc import Collection
from dataclasses import replace
from math import log10
from pathlib import Path

import numpy as np
import pytest

from tercet.caches import Cache
from tercet.performing import Take
from tercet.sound import Stems
from tercet.sound.calibration import (
    FRETS,
    VELOCITIES,
    StringLoudness,
    keep_string,
    kept_string,
    measure_string,
    nominal_level_db,
    reference_lufs,
)
from tercet.sound.stems import STEM_NAMES, StemName
from tests.sound.fake import FakeSynthesiser

OPEN = 64


class Steeper(FakeSynthesiser):
    """A sound whose level rises by 60 · log10 of the velocity, and by 1 dB from fret to fret."""

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        hardest = tuple(replace(note, velocity=127) for note in take.notes)
        made = super().stems(replace(take, notes=hardest), names)
        melody = np.zeros_like(made.by_name["melody"])
        for note in take.notes:
            gain_db = 60.0 * log10(note.velocity / 127) + (note.fret or 0)
            part = slice(round(note.onset_s * 48_000) - 480, round((note.onset_s + 0.42) * 48_000))
            melody[part] = made.by_name["melody"][part] * np.float32(10.0 ** (gain_db / 20.0))
        return Stems(made.sample_rate_hz, {**made.by_name, "melody": melody})


@pytest.fixture(scope="module")
def plain() -> StringLoudness:
    return measure_string(FakeSynthesiser(), 2, OPEN)


@pytest.fixture(scope="module")
def steeper() -> StringLoudness:
    return measure_string(Steeper(), 2, OPEN)


def test_every_fret_and_velocity_is_measured(plain: StringLoudness) -> None:
    assert len(plain.levels_lufs) == FRETS
    assert {len(row) for row in plain.levels_lufs} == {len(VELOCITIES)}


def test_the_square_law_of_the_fake_is_found(plain: StringLoudness) -> None:
    rise = [plain.level_lufs(OPEN, 127) - plain.level_lufs(OPEN, velocity) for velocity in (30, 64, 100)]
    assert rise == pytest.approx([-40.0 * log10(velocity / 127) for velocity in (30, 64, 100)], abs=0.1)


def test_another_law_comes_out_as_it_is(steeper: StringLoudness) -> None:
    rise = [steeper.level_lufs(OPEN, 127) - steeper.level_lufs(OPEN, velocity) for velocity in (30, 64, 100)]
    assert rise == pytest.approx([-60.0 * log10(velocity / 127) for velocity in (30, 64, 100)], abs=0.1)
    assert steeper.level_lufs(OPEN + 4, 80) > steeper.level_lufs(OPEN, 80) + 3.0


@pytest.mark.parametrize("velocity", [1, 5, 30, 31, 64, 90, 126, 127])
@pytest.mark.parametrize("fret", [0, 7, 15])
def test_a_level_leads_back_to_its_velocity(steeper: StringLoudness, velocity: int, fret: int) -> None:
    assert steeper.velocity(OPEN + fret, steeper.level_lufs(OPEN + fret, velocity)) == velocity


def test_levels_out_of_reach_get_the_nearest_velocity(plain: StringLoudness) -> None:
    assert plain.velocity(OPEN, 40.0) == 127
    assert plain.velocity(OPEN, -300.0) == 1


def test_frets_beyond_the_table_are_as_loud_as_the_last(plain: StringLoudness) -> None:
    assert plain.level_lufs(OPEN + 30, 64) == plain.level_lufs(OPEN + FRETS - 1, 64)
    assert plain.level_lufs(OPEN - 3, 64) == plain.level_lufs(OPEN, 64)


def test_of_velocities_that_are_alike_the_softest_is_taken() -> None:
    table = StringLoudness(1, 69, ((-30.0,) * len(VELOCITIES),) * FRETS)
    assert table.velocity(69, -30.0) == 1


def test_keys_that_the_sound_lacks_are_not_struck() -> None:
    table = measure_string(FakeSynthesiser(), 2, OPEN, frozenset({OPEN + 2, OPEN + 9}))
    assert table.levels_lufs[0] == table.levels_lufs[2] == table.levels_lufs[5]
    assert table.levels_lufs[8] == table.levels_lufs[15]
    assert table.levels_lufs[2] != table.levels_lufs[9]


def test_a_string_without_any_key_is_silent() -> None:
    table = measure_string(FakeSynthesiser(), 2, OPEN, frozenset())
    assert {level for row in table.levels_lufs for level in row} == {-200.0}


def test_mf_lies_12_db_under_the_hardest_stroke(plain: StringLoudness) -> None:
    hardest = [plain.level_lufs(OPEN + fret, 127) for fret in range(13)]
    assert reference_lufs(plain) == pytest.approx(float(np.median(hardest)) - 12.0, abs=0.001)


def test_nominal_levels_are_those_of_the_marks() -> None:
    assert [round(nominal_level_db(velocity), 1) for velocity in (127, 101, 64, 40)] == [12.0, 8.0, 0.1, -8.1]


def test_a_table_is_measured_alike_each_time(plain: StringLoudness) -> None:
    assert measure_string(FakeSynthesiser(), 2, OPEN) == plain


def test_what_is_kept_comes_back(plain: StringLoudness, tmp_path: Path) -> None:
    cache = Cache(tmp_path / "new")
    assert kept_string(cache, "a", 2, OPEN) is None
    keep_string(cache, "a", plain)
    assert kept_string(cache, "a", 2, OPEN) == plain
    for other in (("b", 2, OPEN), ("a", 3, OPEN), ("a", 2, OPEN + 1)):
        assert kept_string(cache, *other) is None


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: data[: len(data) // 2],
        lambda data: data.replace(b"-", b"", 1),
        lambda _: b"",
        lambda _: b"\xff\xfe",
        lambda _: b"[1, 2]",
        lambda data: data.split(b"\n", 1)[0],
    ],
)
def test_a_damaged_table_is_noticed(
    plain: StringLoudness, tmp_path: Path, damage: object, caplog: pytest.LogCaptureFixture
) -> None:
    assert callable(damage)
    keep_string(Cache(tmp_path), "a", plain)
    (path,) = tmp_path.iterdir()
    path.write_bytes(damage(path.read_bytes()))
    with caplog.at_level(logging.WARNING):
        assert kept_string(Cache(tmp_path), "a", 2, OPEN) is None
    assert "is damaged and is made again" in caplog.text


class Clicking(FakeSynthesiser):
    """A sound that breaks 0.2 s after each stroke of the third fret."""

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        made = super().stems(take, names)
        for note in take.notes:
            if note.fret == 3:
                made.by_name["melody"][round((note.onset_s + 0.2) * 48_000)] += 0.1
        return made


def test_frets_that_click_are_counted_and_kept(plain: StringLoudness, tmp_path: Path) -> None:
    assert plain.clicking_frets == 0
    table = measure_string(Clicking(), 2, OPEN)
    assert table.clicking_frets == 1
    keep_string(Cache(tmp_path), "clicking", table)
    assert kept_string(Cache(tmp_path), "clicking", 2, OPEN) == table
