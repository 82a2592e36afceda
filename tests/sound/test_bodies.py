"""What the sampler's strokes have of a real instrument, as benchmarks/bodies.py reads it; and each thing taken away."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from tercet.performing import TakeNote
from tercet.sound import plucked, schedule
from tercet.sound.sampler import UkuleleSampler
from tercet.sound.schedule import Touch, touch_of
from tercet.sound.string_model import knock_transform
from tercet.sound.string_samples import string_sample
from tests.kits import ROOT
from tests.sound.alone import RATE_HZ, STRINGS, Place, on_string, ringing
from tests.sound.takes import take

NECK = [Place(*string, fret) for string, fret in zip(STRINGS, (0, 9, 12, 4, 0, 12, 4, 9, 2), strict=True)]
"""A fret on every string of every tuning, low, in the middle and high on the neck."""

A4, C5 = Place(1, 69, 0), Place(1, 69, 3)
OTHERS = [Place(3, 60, 0), Place(2, 64, 0), Place(4, 67, 0)]


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(ROOT / "benchmarks"))
    return import_module("bodies")


@pytest.fixture
def anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Samples are made as the model is now, and forgotten afterwards."""
    made = (string_sample, plucked._knock, knock_transform)
    monkeypatch.setenv("TERCET_CACHE", str(tmp_path / "cache"))
    for each in made:
        each.cache_clear()
    yield
    for each in made:
        each.cache_clear()


def test_notes_knock_die_away_beat_and_stay_in_tune(bench: ModuleType, tmp_path: Path) -> None:
    assert bench.missed(bench.note_figures(NECK, [bench.MIDDLE], tmp_path)) == set()


def test_a_string_rings_along_if_it_is_open_and_not_where_it_is_stopped(
    bench: ModuleType, tmp_path: Path
) -> None:
    assert bench.missed(bench.stopped_figures([(C5, OTHERS)], tmp_path)) == set()


def test_strums_up_are_brighter_and_no_two_strokes_alike(bench: ModuleType, tmp_path: Path) -> None:
    assert bench.missed(bench.hand_figures([A4], [-14.0], tmp_path)) == set()


def test_a_resonance_belongs_to_the_layer_of_its_stroke() -> None:
    """What the tune makes ring is in the tune's stem alone, and there whatever is asked for beside it."""
    tune = on_string(1.0, 0.5, C5)
    under = dataclasses.replace(on_string(0.2, 0.3, Place(3, 60, 6)), layer="strums")
    played = take(ringing([tune, under]), 3.0)
    stems, by_itself = UkuleleSampler().stems(played), UkuleleSampler().stems(played, ["melody"])
    after = slice(round(1.6 * RATE_HZ), round(2.0 * RATE_HZ))
    assert np.abs(stems["melody"][after]).max() > 0
    assert not stems["strums"][after].any()
    assert np.array_equal(stems["melody"], by_itself["melody"])


# Made wrong


@pytest.mark.parametrize(
    ("name", "value", "row"),
    [
        ("KNOCK_RMS", 1e-6, "knock"),
        ("UNEVEN_PART", 1e-6, "beats"),
        ("UNEVEN_PART", 0.08, "beats"),
        ("SECOND_PART", 0.01, "late"),
    ],
)
@pytest.mark.usefixtures("anew")
def test_a_note_without_knock_beats_or_second_stage_is_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, value: float, row: str
) -> None:
    monkeypatch.setattr(plucked, name, value)
    assert row in bench.missed(bench.note_figures([A4], [bench.MIDDLE], tmp_path))


@pytest.mark.usefixtures("anew")
def test_a_string_out_of_tune_and_a_knock_that_booms_are_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tercet.sound.string_model.KNOCK_SHARPNESS", 60.0)
    monkeypatch.setattr("tercet.sound.string_model.DETUNING_CENTS", 8.0)
    assert {"fall", "cents"} <= bench.missed(bench.note_figures([A4], [bench.MIDDLE], tmp_path))


def test_a_resonance_that_is_always_there_is_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tercet.performing.free_strings._stops", lambda *_: False)
    assert bench.missed(bench.stopped_figures([(C5, OTHERS)], tmp_path)) == {"stopped"}


def test_a_thumb_that_never_leaves_its_place_and_strums_that_are_all_alike_are_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def in_place(note: TakeNote) -> Touch:
        return dataclasses.replace(touch_of(note), aside=0.0, skin=0.0)

    monkeypatch.setattr(schedule, "UP_SHADE", 0.0)
    monkeypatch.setattr(schedule, "touch_of", in_place)
    assert bench.missed(bench.hand_figures([A4], [-14.0], tmp_path)) == {"ups", "unlike"}


def test_a_strum_that_strikes_its_strings_alike_is_found(bench: ModuleType) -> None:
    assert bench.missed({"sweep": np.array([2.2, 2.5, 3.0])}) == set()
    assert bench.missed({"sweep": np.array([1.0, 2.5, 3.0])}) == {"sweep"}
    assert bench.missed({"sweep": np.array([1.7, 1.8, 3.0])}) == {"sweep"}
