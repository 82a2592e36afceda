"""What the marks, `front` and `flat` promise, measured in the files that a user gets, in several sounds.

Our songs are held against their own marks in three sound fonts, a small song in three presets that differ most. Levels
are measured by `tests.measure`, which knows nothing of `render`: the K-weighted 400 ms of each gesture of a
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

from tercet.arranging import arrange, song_tuning
from tercet.performing import Take
from tercet.song import Layer, read_song
from tercet.sound import Stems
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.sf2_reader import SoundFont
from tercet.tracks.playing import Playing
from tests.fonts import FONTS, synthesiser
from tests.kits import FONT, LAYER_TRACKS, ROOT, SHORT_SONG, Kit, Workshop
from tests.measure.audio import LAYERS, Track
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs
from tests.measure.marks import over_marks_db, struck
from tests.measure.midi import read_with_mido, rolls_of

PROGRAMS = {"nylon guitar": 24, "steel guitar": 25, "banjo": 105}
"""Presets that differ by up to 14 dB at one velocity, and by how they decay."""


SONGS = sorted(path.stem for path in (ROOT / "songs").glob("*.yaml"))

HAIRPINS = """\
title: Up and Down
key: C major
meter: 4/4
tempo: 80
dynamics: {melody: p, between: p, strums: pp}
strum: . d . d
sections:
  up: |
    chords  C                          | C                     | C                     | C                     |
    melody  C5:2[alone] C:2[alone] | C5:2[alone] C:2[alone] | C5:2[alone] C:2[alone] | C5:2[alone] C:2[alone] |
    marks   p@1 louder@1               |                       |                       |                       |

    chords  C                          | C                     | C                     | C                     |
    melody  C5:2[alone] C:2[alone] | C5:2[alone] C:2[alone] | C5:2[alone] C:2[alone] | C5:2[alone] C:2[alone] |
    marks   ff@1 softer@1              |                       |                       |                       |

    chords  C                      |
    melody  C5:2[alone] C:2[alone] |
    marks   mf@1                   |
"""
"""The same note eighteen times: from p to ff in eight steps of 2 dB, down to mf in eight of 1 dB."""


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


def opened(
    path: Path, font: str, front: int | None = None, *, flat: bool = False, dry: bool = False
) -> Workshop:
    """Open a song in one of `FONTS`."""
    song = replace(read_song(path), front=None if front is None else Fraction(front))
    return Workshop(path, Playing(arrange(song, song_tuning(song)), synthesiser(font), dry=dry), flat)


def front_over_marks_db(kit: Kit) -> float:
    """Return how much further the melody is in front of the strums than the marks say, gesture against its own mark."""
    melody, strums = (
        float(np.median(over_marks_db(kit.tracks[f"only-{layer}"], kit.midi, kit.song, layer)))
        for layer in ("melody", "strums")
    )
    return melody - strums


def front_lu(kit: Kit) -> float:
    """Return how far the median gesture of the melody lies above that of the strums, whatever they are marked."""
    melody, strums = (
        float(
            np.median(
                gesture_levels_lufs(
                    kit.tracks[f"only-{layer}"], [roll.notes[0].onset_s for roll in struck(kit.midi, layer)]
                )
            )
        )
        for layer in ("melody", "strums")
    )
    return melody - strums


@pytest.mark.parametrize("font", FONTS)
@pytest.mark.parametrize("name", SONGS)
def test_in_every_font_our_songs_lie_as_they_are_marked(name: str, font: str, tmp_path: Path) -> None:
    kit = opened(ROOT / "songs" / f"{name}.yaml", font).make(tmp_path, names=("only-melody", "only-strums"))
    assert front_over_marks_db(kit) == pytest.approx(0.0, abs=1.0)


def test_strums_2_db_louder_than_marked_are_found(tmp_path: Path) -> None:
    opened_up = opened(ROOT / "songs" / "washing-up-branle.yaml", "TimGM6mb")
    stems = louder("strums", 2.0)(opened_up.stems)
    kit = opened_up.make(tmp_path, stems=stems, names=("only-melody", "only-strums"))
    assert front_over_marks_db(kit) < -1.5


@pytest.mark.parametrize(
    ("name", "font", "front"),
    [
        ("bicycle-bell", "built-in", 15),
        ("washing-up-branle", "FluidR3_GM", 9),
        ("sleeper-train", "TimGM6mb", 6),
    ],
)
def test_front_is_what_is_measured_in_our_songs(name: str, font: str, front: int, tmp_path: Path) -> None:
    kit = opened(ROOT / "songs" / f"{name}.yaml", font, front).make(
        tmp_path, names=("only-melody", "only-strums")
    )
    assert front_lu(kit) == pytest.approx(front, abs=0.5)


@pytest.mark.parametrize(
    ("name", "font"),
    [("bicycle-bell", "built-in"), ("washing-up-branle", "built-in"), ("washing-up-branle", "FluidR3_GM")],
)
def test_songs_with_chops_are_as_loud_flat_as_layered(name: str, font: str, tmp_path: Path) -> None:
    path = ROOT / "songs" / f"{name}.yaml"
    flat = opened(path, font, flat=True).make(tmp_path / "flat", names=("demo", "only-melody", "only-strums"))
    layered = opened(path, font).make(tmp_path / "layered", names=("demo",))
    loud, demo = (integrated_lufs(kit.tracks["demo"]) for kit in (flat, layered))
    assert loud == pytest.approx(demo, abs=0.5)
    assert front_lu(flat) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("font", FONTS)
def test_along_a_hairpin_every_gesture_is_louder_or_softer_than_the_one_before(
    font: str, tmp_path: Path
) -> None:
    """Played dry, so that neither accents of the bar nor the arch of a phrase are added."""
    path = tmp_path / "up-and-down.yaml"
    path.write_text(HAIRPINS, encoding="utf-8")
    kit = opened(path, font, dry=True).make(tmp_path / "kit", names=("only-melody",))
    levels = gesture_levels_lufs(
        kit.tracks["only-melody"], [roll.notes[0].onset_s for roll in rolls_of(kit.midi)]
    )
    assert np.diff(levels) == pytest.approx([2.0] * 8 + [-1.0] * 8 + [0.0], abs=0.6)


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
