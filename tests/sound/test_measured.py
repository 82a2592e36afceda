"""Marks become what is measured, in any sound; what a sound can't do is said."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from math import log10
from pathlib import Path
from statistics import median

import numpy as np
import pytest

from tercet.performing import Take, TakeNote
from tercet.song import LAYERS, Layer
from tercet.sound import StemName, Stems
from tercet.sound.calibration import VELOCITIES, StringLoudness
from tercet.sound.k_weighting import k_weighted_levels_lufs
from tercet.sound.measured import MeasuredSynthesiser, _faults, layer_gain_db
from tercet.sound.stems import STEM_NAMES
from tests.sound.fake import FakeSynthesiser
from tests.sound.takes import RATE_HZ, note, take

OPEN_KEYS = {1: 69, 2: 64, 3: 60, 4: 67}
MARKS_DB: dict[Layer, float] = {"melody": 4.0, "between": -4.0, "strums": -8.0}


class Bent(FakeSynthesiser):
    """A sound with its own law from velocity to level."""

    def __init__(self, law_db: Callable[[int], float]) -> None:
        self.law_db = law_db

    def identity(self) -> str:
        return f"bent {[round(self.law_db(velocity), 3) for velocity in VELOCITIES]}"

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        bent = tuple(
            replace(each, velocity=max(1, min(127, round(127 * 10 ** (self.law_db(each.velocity) / 40)))))
            for each in take.notes
        )
        return super().stems(replace(take, notes=bent), names)


def song(marks_db: dict[Layer, float] = MARKS_DB) -> Take:
    """Return 24 gestures a second apart: rolls over two strings, single notes, strums of four."""
    notes: list[TakeNote] = []
    layers: tuple[tuple[Layer, tuple[int, ...]], ...] = (
        ("melody", (2, 1)),
        ("between", (1,)),
        ("strums", (4, 3, 2, 1)),
    )
    for place in range(24):
        layer, strings = layers[place % 3]
        level_db = marks_db[layer] - 10.0 * log10(len(strings))
        for order, string in enumerate(strings):
            fret = (place * 5 + string) % 8
            notes.append(
                replace(
                    note(place + 0.5 + 0.01 * order, 0.9, OPEN_KEYS[string] + fret, string, layer),
                    fret=fret,
                    level_db=level_db,
                    mark_db=marks_db[layer],
                    gesture=place,
                )
            )
    return take(notes, 25.0)


def heard(stems: Stems, layer: StemName, played: Take) -> float:
    """Return the median K-weighted level of a layer's gestures."""
    starts = sorted(
        {round(each.onset_s // 1 * RATE_HZ + RATE_HZ // 2) for each in played.notes if each.layer == layer}
    )
    cut = np.stack([stems.by_name[layer][start : start + round(0.4 * RATE_HZ)] for start in starts])
    return median(map(float, k_weighted_levels_lufs(cut, RATE_HZ)))


@pytest.mark.parametrize(
    "law_db",
    [
        lambda velocity: 40.0 * log10(velocity / 127),
        lambda velocity: 20.0 * log10(velocity / 127),
        lambda velocity: 35.0 * (velocity - 127) / 127,
    ],
)
def test_in_every_sound_the_marks_are_nearly_what_is_measured(
    law_db: Callable[[int], float], tmp_path: Path
) -> None:
    """What is left, strings that ring on into a gesture, the balance of the whole song takes back."""
    played = song()
    stems = MeasuredSynthesiser(Bent(law_db), lambda: played, folder=tmp_path).stems(played)
    front = heard(stems, "melody", played)
    assert front - heard(stems, "strums", played) == pytest.approx(12.0, abs=0.6)
    assert front - heard(stems, "between", played) == pytest.approx(8.0, abs=0.6)


def test_a_part_of_the_song_gets_the_gains_of_the_whole(tmp_path: Path) -> None:
    played = song()
    measured = MeasuredSynthesiser(FakeSynthesiser(), lambda: played, folder=tmp_path)
    part = replace(played, notes=played.notes[:3], length_s=4.0)
    first = measured.stems(part).by_name["melody"]
    measured.stems(played)
    assert np.array_equal(first, measured.stems(part).by_name["melody"])
    assert np.allclose(first[:80_000], measured.stems(played).by_name["melody"][:80_000], atol=1e-7)


def test_a_sound_is_measured_once(tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    played = song()
    for _ in range(2):
        measured = MeasuredSynthesiser(
            FakeSynthesiser(), lambda: played, folder=tmp_path, progress=lambda *what: told.append(what)
        )
        assert measured.layer_gains_db == dict.fromkeys(LAYERS, 0.0)
    assert told == [("measuring how loud the sound is", done, 4) for done in range(4)]


def test_a_layer_beyond_the_sounds_reach_gets_a_gain_and_it_is_said(tmp_path: Path) -> None:
    played = song()
    narrow = Bent(lambda velocity: -13.0 * (127 - velocity) / 126)
    measured = MeasuredSynthesiser(narrow, lambda: played, folder=tmp_path)
    stems = measured.stems(played)
    assert heard(stems, "melody", played) - heard(stems, "strums", played) == pytest.approx(12.0, abs=0.6)
    assert measured.layer_gains_db["strums"] < -3.0
    assert any("as soft as the strums are marked" in notice for notice in measured.notices())


def test_a_sound_that_plays_all_alike_is_explained_and_still_layered(tmp_path: Path) -> None:
    played = song()
    measured = MeasuredSynthesiser(Bent(lambda _: -6.0), lambda: played, folder=tmp_path)
    stems = measured.stems(played)
    assert heard(stems, "melody", played) - heard(stems, "strums", played) == pytest.approx(12.0, abs=0.6)
    assert any("soft and hard strokes alike" in notice for notice in measured.notices())


def test_notes_out_of_reach_are_counted(tmp_path: Path) -> None:
    played = song()
    loud = replace(played.notes[0], level_db=played.notes[0].level_db + 8.0)
    wide = replace(played, notes=(loud, *played.notes[1:]))
    measured = MeasuredSynthesiser(
        Bent(lambda velocity: -6.0 * (127 - velocity) / 126), lambda: wide, folder=tmp_path
    )
    assert any("beyond what the sound can do" in notice for notice in measured.notices())


def table(*rows: tuple[float, ...]) -> StringLoudness:
    return StringLoudness(1, 69, rows)


def test_faults_of_a_sound() -> None:
    even = tuple(-60.0 + 6.0 * place for place in range(len(VELOCITIES)))
    jumping = tuple(level + (12.0 if place > 5 else 0.0) for place, level in enumerate(even))
    silent = (-200.0,) * len(VELOCITIES)
    assert list(_faults([table(even)])) == []
    assert "silent on 1 of 2 places" in next(iter(_faults([table(even, silent)])))
    assert "clicks on 3 of 1 places" in next(iter(_faults([replace(table(even), clicking_frets=3)])))
    assert "jumps in loudness" in next(iter(_faults([table(jumping)])))
    assert "alike" in next(iter(_faults([table((-30.0,) * len(VELOCITIES))])))


@pytest.mark.parametrize(
    ("reaches", "gain_db"),
    [
        ([], 0.0),
        ([(-3.0, 4.0), (-1.0, 2.0)], 0.0),
        ([(2.0, 9.0), (-1.0, 5.0)], 2.0),
        ([(-9.0, -3.0), (-5.0, 2.0)], -3.0),
        ([(4.0, 4.0), (6.0, 6.0), (5.0, 5.0)], 5.0),
    ],
)
def test_the_gain_of_a_layer(reaches: list[tuple[float, float]], gain_db: float) -> None:
    assert layer_gain_db(reaches) == gain_db


def test_a_song_without_melody_can_be_played(tmp_path: Path) -> None:
    played = replace(song(), notes=tuple(each for each in song().notes if each.layer != "melody"))
    measured = MeasuredSynthesiser(FakeSynthesiser(), lambda: played, folder=tmp_path)
    assert measured.stems(played).length_frames > 0
    assert measured.identity() == "fake, decaying sinusoids, 1, measured"
    assert measured.keys() is None
