"""Sets of one song for a mixed class: what they promise together, and that each promise can be broken."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tests.kits import Kit, mixed_class
from tests.measure.onsets import onset_figures, onsets_s
from tests.promises import PROMISES, SET_PROMISES
from tests.test_sabotage import RATE_HZ, Whole, change_samples, full_scale, late, louder

SAME_OCTAVE = ("high-g-beginner", "high-g-improving", "low-g-beginner", "low-g-improving")
OF_EACH_SET = [
    "tracks add up",
    "the count-in is in every track once",
    "tracks start and end together",
    "layers keep their level",
    "nothing at full scale",
    "what is written is heard, when it is written",
    "in tune",
]


@pytest.fixture(scope="session")
def sets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Kit]:
    return mixed_class(tmp_path_factory.getbasetemp())


@pytest.fixture
def copies(sets: dict[str, Kit], tmp_path: Path) -> list[Kit]:
    """Sets of one's own to spoil; their files are links until they are replaced."""
    for name in SAME_OCTAVE:
        shutil.copytree(sets[name].folder, tmp_path / name, copy_function=os.link)
    return [Kit(tmp_path / name, sets[name].song_path) for name in SAME_OCTAVE]


def test_a_set_for_each_tuning_and_all_players(sets: dict[str, Kit]) -> None:
    assert tuple(sets) == ("baritone-beginner", "baritone-improving", *SAME_OCTAVE)


@pytest.mark.parametrize("name", SET_PROMISES)
def test_sets_keep_every_promise(name: str, sets: dict[str, Kit]) -> None:
    SET_PROMISES[name]([sets[each] for each in SAME_OCTAVE])


@pytest.mark.parametrize("name", OF_EACH_SET)
@pytest.mark.parametrize("which", ["baritone-improving", "high-g-beginner", "low-g-improving"])
def test_each_set_keeps_what_a_kit_promises(name: str, which: str, sets: dict[str, Kit]) -> None:
    PROMISES[name](sets[which])


@pytest.mark.parametrize("which", ["baritone-beginner", "baritone-improving"])
@pytest.mark.parametrize("name", ["sets share their timeline", "no set clips"])
def test_an_octave_lower_the_timeline_stays(name: str, which: str, sets: dict[str, Kit]) -> None:
    SET_PROMISES[name]([sets["high-g-improving"], sets[which]])


def test_beginners_of_all_tunings_play_the_melody_together(sets: dict[str, Kit]) -> None:
    first, *others = (sets[f"{tuning}-beginner"] for tuning in ("high-g", "low-g", "baritone"))
    for other in others:
        figures = onset_figures(onsets_s(other.alone["melody"]), onsets_s(first.alone["melody"]).tolist())
        assert (figures.unheard_s, figures.unwritten_s) == ((), ())
        assert np.abs(figures.late_s).max() <= 0.003


@dataclass(frozen=True)
class SetSabotage:
    """What is done to tracks of one set (all without names), which promise it breaks, and what is then said."""

    what: str
    breaks: str
    says: str
    change: Callable[[Whole], Whole]
    tracks: Sequence[str] = ()


def count_in_late(samples: Whole) -> Whole:
    """Let the first knock come 10 ms later than all the rest."""
    samples[:20_000] = late(480)(samples[:20_000])
    return samples


def silenced(samples: Whole) -> Whole:
    samples[4 * RATE_HZ : 7 * RATE_HZ] = 0
    return samples


SABOTAGES = [
    SetSabotage("a set 5 ms late", "sets share their timeline", r"low-g-beginner: up to 5\.0 ms", late(240)),
    SetSabotage("a set a frame short", "sets share their timeline", "lengths", lambda samples: samples[:-1]),
    SetSabotage("a knock late", "sets share their timeline", r"knocks at \(0\.01", count_in_late),
    SetSabotage("notes silenced", "sets share their timeline", "unheard", silenced, ("only-between",)),
    SetSabotage("a set a third of a decibel up", "sets share their gain", r"\+0\.33 dB", louder(0.33)),
    SetSabotage("a set half a decibel down", "sets share their gain", r"-0\.50 dB", louder(-0.5)),
    SetSabotage("a set 12 dB up", "no set clips", "low-g-beginner: .* dBTP", louder(12.0), ("demo",)),
    SetSabotage("a sample too high", "no set clips", "at full scale", full_scale, ("only-strums",)),
]


@pytest.mark.parametrize("sabotage", SABOTAGES, ids=lambda each: f"{each.what}: {each.breaks}")
def test_what_is_spoilt_in_one_set_is_found(sabotage: SetSabotage, copies: list[Kit]) -> None:
    spoilt = copies[SAME_OCTAVE.index("low-g-beginner")]
    for name, path in spoilt.track_paths.items():
        if not sabotage.tracks or name in sabotage.tracks:
            change_samples(path, sabotage.change)
    with pytest.raises(AssertionError, match=sabotage.says):
        SET_PROMISES[sabotage.breaks]([Kit(kit.folder, kit.song_path) for kit in copies])


def test_every_promise_of_sets_can_be_broken() -> None:
    assert {sabotage.breaks for sabotage in SABOTAGES} == set(SET_PROMISES)
