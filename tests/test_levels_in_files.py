"""What the marks, `front` and `flat` promise, measured in the files that a user gets, in three sounds.

Levels are measured by `tests.measure`, which knows nothing of `render`: the K-weighted 400 ms of each gesture of a
layer alone, found by the onsets of the MIDI file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from render.arrange import arrange, song_tuning
from render.perform import Take
from render.song import Layer, read_song
from render.sound import Stems
from render.sound.fluid import FluidSynthesiser
from render.sound.soundfont import SoundFont
from render.tracks.playing import Playing
from tests.kits import FONT, LAYER_TRACKS, SHORT_SONG, Workshop
from tests.measure.audio import LAYERS, Track
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs
from tests.measure.midi import read_with_mido, rolls_of

PROGRAMS = {"nylon guitar": 24, "steel guitar": 25, "banjo": 105}
"""Presets that differ by up to 14 dB at one velocity, and by how they decay."""


@pytest.fixture(scope="session")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("levels")


@cache
def shop(base: Path, program: int, front: int | None = None, flat: bool = False) -> Workshop:
    path = base / "take.yaml"
    path.write_text(
        SHORT_SONG.replace("marks 2                 | rit@1 |         | fermata@1 |", ""), encoding="utf-8"
    )
    song = replace(read_song(path), front=None if front is None else Fraction(front))
    sound = FluidSynthesiser(SoundFont(FONT, 0, program))
    return Workshop(path, Playing(arrange(song, song_tuning(song)), sound), flat)


def written(
    folder: Path, made: Workshop, change: Callable[[Stems], Stems] = lambda stems: stems
) -> dict[str, Track]:
    """Write demo and single layers, and read them back."""
    names = [name for name in LAYER_TRACKS if "without" not in name]
    kit = made.make(folder, stems=change(made.stems), names=names, bits=24)
    return kit.tracks


def medians_lufs(folder: Path, tracks: dict[str, Track]) -> dict[str, float]:
    """Return the median level of each layer's gestures."""
    midi = read_with_mido(folder / "take.mid")
    return {
        layer: float(
            np.median(
                gesture_levels_lufs(
                    tracks[f"only-{layer}"], [roll.notes[0].onset_s for roll in rolls_of(midi, layer)]
                )
            )
        )
        for layer in LAYERS
    }


def louder(layer: Layer, gain_db: float) -> Callable[[Stems], Stems]:
    """Make one layer louder."""
    factor = np.float32(10.0 ** (gain_db / 20.0))
    return lambda stems: replace(stems, by_name={**stems.by_name, layer: stems.by_name[layer] * factor})


@pytest.mark.parametrize("program", PROGRAMS.values(), ids=PROGRAMS)
def test_melody_f_lies_12_lu_above_strums_p(base: Path, tmp_path: Path, program: int) -> None:
    medians = medians_lufs(tmp_path, written(tmp_path, shop(base, program)))
    assert medians["melody"] - medians["strums"] == pytest.approx(12.0, abs=1.0)


@pytest.mark.parametrize("front", [6, 9, 15])
@pytest.mark.parametrize("program", PROGRAMS.values(), ids=PROGRAMS)
def test_front_is_what_is_measured(base: Path, tmp_path: Path, program: int, front: int) -> None:
    medians = medians_lufs(tmp_path, written(tmp_path, shop(base, program, front)))
    assert medians["melody"] - medians["strums"] == pytest.approx(front, abs=0.5)


@pytest.mark.parametrize("program", PROGRAMS.values(), ids=PROGRAMS)
def test_flat_has_neither_front_nor_back_and_is_as_loud_as_the_demo(
    base: Path, tmp_path: Path, program: int
) -> None:
    (tmp_path / "flat").mkdir()
    flat = written(tmp_path / "flat", shop(base, program, flat=True))
    demo = written(tmp_path, shop(base, program))["demo"]
    medians = medians_lufs(tmp_path / "flat", flat)
    assert medians["melody"] - medians["strums"] == pytest.approx(0.0, abs=0.5)
    assert medians["melody"] - medians["between"] == pytest.approx(0.0, abs=0.5)
    assert integrated_lufs(flat["demo"]) == pytest.approx(integrated_lufs(demo), abs=0.5)


def test_flat_keeps_notes_and_timing(base: Path) -> None:
    layered, flat = (shop(base, 24, flat=flat).take for flat in (False, True))

    def places(take: Take) -> list[tuple[float, float, int, int]]:
        return [(note.onset_s, note.length_s, note.string, note.midi) for note in take.notes]

    assert places(layered) == places(flat)
    assert {note.mark_db for note in flat.notes} == {0.0}


def test_a_layer_2_db_louder_is_found(base: Path, tmp_path: Path) -> None:
    tracks = written(tmp_path, shop(base, 24, 9), louder("strums", 2.0))
    medians = medians_lufs(tmp_path, tracks)
    assert abs(medians["melody"] - medians["strums"] - 9.0) > 1.5
