"""A kit in sets, one for each tuning and for all players: they sound together, and each is what its players need."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.kits import SHORT_SONG, Kit, run_tercet
from tests.measure.audio import Track, full_scale_frames
from tests.measure.midi import MidiFile, rolls_of, tune_figures
from tests.measure.sameness import differing_files
from tests.measure.sets import SetFigures, set_figures

TUNINGS = ("high-g", "low-g", "baritone")
PLAYERS = ("beginner", "improving")
TRACKS = ("demo", "only-strums")


@cache
def sets_in(base: Path) -> dict[str, Kit]:
    """Make a kit of the short song for three tunings and two kinds of players, once a process."""
    path = base / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    asked = ("--tuning", ",".join(TUNINGS), "--players", ",".join(PLAYERS), "--tracks", ",".join(TRACKS))
    run_tercet("kit", path, "-o", base / "sets", *asked)
    folders = sorted((base / "sets" / "kettle-and-cup").iterdir())
    return {folder.name: Kit(folder, path) for folder in folders}


@pytest.fixture(scope="session")
def sets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Kit]:
    return sets_in(tmp_path_factory.getbasetemp())


def agree(figures: SetFigures) -> None:
    """Raise `AssertionError` where two sets don't sound together."""
    assert abs(figures.gain_db) <= 0.01, f"{figures.gain_db:+.2f} dB louder"
    assert figures.late_frames == 0, f"{figures.late_frames} frames late"
    assert figures.apart_frames == 0, f"{figures.apart_frames} frames longer"
    latest = max(map(abs, figures.tune_late_s))
    assert latest <= 0.003, f"the tune is {latest * 1000:.1f} ms off"
    assert figures.semitones in ((0,), (-12,)), f"the tune lies higher by {figures.semitones}"


def against(kit: Kit, other: Kit, track: Track | None = None, midi: MidiFile | None = None) -> SetFigures:
    knock_s = float(kit.song.pulse_beat) * kit.song.beat_s
    return set_figures(
        track or kit.tracks["demo"], other.tracks["demo"], midi or kit.midi, other.midi, knock_s
    )


def test_there_is_a_set_for_each_tuning_and_for_all_players(sets: dict[str, Kit]) -> None:
    assert set(sets) == {f"{tuning}-{players}" for tuning in TUNINGS for players in PLAYERS}
    for kit in sets.values():
        assert set(kit.tracks) == set(TRACKS)


def test_sets_sound_together(sets: dict[str, Kit]) -> None:
    first = sets["high-g-beginner"]
    found = {name: against(kit, first) for name, kit in sets.items()}
    for figures in found.values():
        agree(figures)
    assert {name: figures.semitones for name, figures in found.items()} == {
        name: (-12,) if name.startswith("baritone") else (0,) for name in sets
    }


def test_every_set_plays_the_whole_tune_and_clips_nowhere(sets: dict[str, Kit]) -> None:
    for name, kit in sets.items():
        assert full_scale_frames(kit.tracks["demo"]) == 0, name
        if not name.startswith("baritone"):
            figures = tune_figures(kit.midi, kit.song)
            assert (figures.missing, figures.unexplained) == ((), ()), name


def test_beginners_play_single_notes_and_one_strum_a_bar(sets: dict[str, Kit]) -> None:
    bars = 18
    for tuning in TUNINGS:
        simple, whole = sets[f"{tuning}-beginner"].midi, sets[f"{tuning}-improving"].midi
        assert {len(roll.notes) for roll in rolls_of(simple, "melody")} == {1}
        assert max(len(roll.notes) for roll in rolls_of(whole, "melody")) >= 3
        assert 0 < len(rolls_of(simple, "strums")) <= bars


def test_tracks_say_which_set_they_belong_to(sets: dict[str, Kit]) -> None:
    from tests.measure.tags import tags_of

    found = tags_of(sets["low-g-improving"].track_paths["demo"])
    assert found["title"] == "Kettle and Cup (low-g-improving, demo)"
    assert found["album"] == "Kettle and Cup (low-g-improving)"


def test_one_set_alone_is_a_plain_kit(tmp_path: Path) -> None:
    path = tmp_path / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    run_tercet("kit", path, "-o", tmp_path / "plain", "--tracks", "demo")
    run_tercet(
        "kit",
        path,
        "-o",
        tmp_path / "one",
        "--tracks",
        "demo",
        "--tuning",
        "high-g",
        "--players",
        "improving",
    )
    assert differing_files(tmp_path / "plain", tmp_path / "one") == ()


# Sabotage ----------------------------------------------------------------------------------------------------------


def moved_notes(midi: MidiFile, *, later_s: float = 0.0, semitones: int = 0) -> MidiFile:
    """Return a MIDI file with one note of its tune elsewhere."""
    notes = list(midi.tracks["melody"])
    place = len(notes) // 2
    struck = notes[place]
    notes[place] = replace(struck, onset_s=struck.onset_s + later_s, midi=struck.midi + semitones)
    return replace(midi, tracks={**midi.tracks, "melody": tuple(notes)})


def changed(track: Track, change: Callable[[np.ndarray], np.ndarray]) -> Track:
    return replace(track, samples=change(track.samples))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda samples: samples * 10 ** (0.1 / 20), r"\+0\.10 dB louder"),
        (lambda samples: np.roll(samples, 3, axis=0), "3 frames late"),
        (lambda samples: samples[:-1], "-1 frames longer"),
    ],
)
def test_a_track_that_is_off_is_found(
    change: Callable[[np.ndarray], np.ndarray], says: str, sets: dict[str, Kit]
) -> None:
    kit = sets["low-g-improving"]
    with pytest.raises(AssertionError, match=says):
        agree(against(kit, sets["high-g-improving"], changed(kit.tracks["demo"], change)))


def test_a_tune_that_is_off_is_found(sets: dict[str, Kit]) -> None:
    kit, first = sets["high-g-beginner"], sets["low-g-beginner"]
    with pytest.raises(AssertionError, match=r"the tune is 5\.0 ms off"):
        agree(against(kit, first, midi=moved_notes(kit.midi, later_s=0.005)))
    with pytest.raises(AssertionError, match=r"the tune lies higher by \(0, 1\)"):
        agree(against(kit, first, midi=moved_notes(kit.midi, semitones=1)))
