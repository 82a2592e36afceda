"""Measurements of what a user gets: a real song's kit by the real command, and takes through the library."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.audio_formats import FORMATS
from tercet.song import LAYERS
from tercet.sound import SAMPLE_RATE_HZ, Stems
from tercet.sound.encoding import TrackWriter
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.room import in_room
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.ukulele import ready_built_in
from tercet.tracks.playing import Playing
from tercet.tracks.recipes import RECIPES
from tercet.tracks.timelines import Source
from tests.kits import (
    HARBOUR_LANTERNS,
    LAYER_TRACKS,
    PLAYERS,
    ROOT,
    SONG_ONCE,
    Kit,
    Workshop,
    harbour_kit,
    run_tercet,
    short_workshop,
    workshop,
)
from tests.measure.audio import Track, delay_s, read_track
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs, true_peak_dbtp
from tests.measure.midi import tune_figures
from tests.measure.onsets import onset_figures, onsets_s
from tests.measure.pitch import cents_sharp
from tests.measure.room import third_octave_changes_db
from tests.measure.sameness import differing_files
from tests.measure.tags import tags_of
from tests.promises import PROMISES

SONGS = sorted((ROOT / "songs").glob("*.yaml"))
FIRM_DB = 6.0
DAMPED_S = 0.05
"""How long before the next stroke a string is damped, so that what it still rang doesn't hide that stroke."""
OF_MIDI = [name for name in PROMISES if name.startswith("MIDI")]


def mixed(stems: Stems) -> NDArray[np.float32]:
    """Return the sum of all layers."""
    return np.asarray(sum(stems.by_name[layer] for layer in LAYERS), np.float32)


@pytest.fixture(scope="session")
def harbour(tmp_path_factory: pytest.TempPathFactory) -> Kit:
    return harbour_kit(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="session")
def short(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    return short_workshop(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="session")
def built_in(short: Workshop, tmp_path_factory: pytest.TempPathFactory) -> Kit:
    """The short song's kit on the built-in ukulele written as a sound font, through FluidSynth."""
    ukulele = FluidSynthesiser(SoundFont(ready_built_in(), 8, 24))
    shop = Workshop(short.song_path, Playing(short.playing.arrangement, ukulele))
    return shop.make(tmp_path_factory.mktemp("built-in"))


@pytest.mark.parametrize("name", PROMISES)
def test_the_built_in_ukulele_as_a_font_keeps_every_promise(built_in: Kit, name: str) -> None:
    PROMISES[name](built_in)


def test_no_measurement_knows_the_program() -> None:
    files = sorted((ROOT / "tests" / "measure").glob("*.py"))
    assert len(files) >= 7
    for file in files:
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                own = name.startswith("tests.") and not name.startswith("tests.measure.")
                assert not own, f"{file.name} imports {name}"
                assert name.partition(".")[0] != "tercet", f"{file.name} imports {name}"


@pytest.mark.parametrize("name", PROMISES)
def test_a_real_song_keeps_its_promises(name: str, harbour: Kit) -> None:
    PROMISES[name](harbour)


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
@pytest.mark.parametrize("name", [*OF_MIDI, "rolls fall towards the tune"])
def test_the_midi_of_every_song_keeps_its_promises(name: str, song: Path, tmp_path: Path) -> None:
    PROMISES[name](workshop(song).make(tmp_path, names=()))


@pytest.mark.parametrize("song", SONGS, ids=lambda path: path.stem)
def test_played_dry_every_note_of_the_tune_falls_on_its_beat(song: Path, tmp_path: Path) -> None:
    kit = workshop(song, dry=True).make(tmp_path, names=())
    figures = tune_figures(kit.midi, kit.song)
    assert len(figures.late_s) == len(kit.song.tune)
    assert max(map(abs, figures.late_s)) <= 0.001


@pytest.mark.parametrize("player", PLAYERS)
@pytest.mark.parametrize("string", [1, 2, 3, 4])
def test_a_string_alone_is_struck_when_the_take_says_and_in_tune(
    string: int, player: str, tmp_path: Path
) -> None:
    """All of it as firm and as bright as a tune: a soft, dark strum hasn't enough over 3 kHz to be timed by."""
    bench = workshop(HARBOUR_LANTERNS, player=player)
    notes = tuple(
        replace(note, layer="melody", level_db=FIRM_DB, length_s=note.length_s - DAMPED_S)
        for note in bench.take.notes
        if note.string == string
    )
    stems = bench.stems_of(replace(bench.take, notes=notes, clicks=()))
    path = tmp_path / "string.wav"
    with TrackWriter(path, bits=24) as writer:
        writer.write(mixed(stems))
    track = read_track(path)
    figures = onset_figures(onsets_s(track), [note.onset_s for note in notes])
    assert (figures.unheard_s, figures.unwritten_s) == ((), ())
    assert np.abs(figures.late_s).max() <= 0.003
    long = [note for note in notes if note.length_s >= 0.5]
    assert len(long) >= 20
    for note in long[::2]:
        assert abs(cents_sharp(track, note.midi, note.onset_s, note.onset_s + note.length_s)) <= 1.0


@pytest.mark.parametrize("song", SONGS[1:3], ids=lambda path: path.stem)
def test_the_room_leaves_marks_and_colour_as_they_were(song: Path) -> None:
    bench = workshop(song)
    dry = bench.playing.measured(Source()).stems(bench.take)
    wet = in_room(dry)
    layers = bench.playing.arrangement.song.layers
    middle = {}
    for stems in (dry, wet):
        for layer in layers:
            struck_s = {note.gesture: note.onset_s for note in bench.take.notes[::-1] if note.layer == layer}
            track = Track(stems.by_name[layer], SAMPLE_RATE_HZ)
            middle[stems is wet, layer] = float(
                np.median(gesture_levels_lufs(track, list(struck_s.values())))
            )
    for layer in layers:
        assert abs(middle[True, layer] - middle[False, layer]) <= 0.3
        apart = (middle[in_it, "melody"] - middle[in_it, layer] for in_it in (False, True))
        assert abs(next(apart) - next(apart)) <= 0.3
    mono, plain = (mixed(stems)[: dry.length_frames].mean(axis=1) for stems in (wet, dry))
    assert np.abs(third_octave_changes_db(mono, plain, SAMPLE_RATE_HZ)).max() <= 2.0


def test_all_tracks_in_24_bits_add_up(short: Workshop, tmp_path: Path) -> None:
    run_tercet("kit", short.song_path, "-o", tmp_path, "--bits", 24, "--tracks", ",".join(LAYER_TRACKS))
    kit = Kit(tmp_path / short.song_path.stem, short.song_path)
    assert kit.tracks["demo"].step == 2.0**-23
    PROMISES["tracks add up"](kit)
    PROMISES["layers keep their level"](kit)


@pytest.mark.parametrize("player", PLAYERS)
def test_two_runs_give_the_same_bytes_in_every_format(player: str, tmp_path: Path) -> None:
    once = tmp_path / "once.yaml"
    once.write_text(SONG_ONCE, encoding="utf-8")
    kinds = ",".join(ending[1:] for ending in FORMATS)
    for hash_seed, run in enumerate(("one", "two"), 1):
        command = ("kit", once, "--tracks", "demo", "-o")
        for bits, wanted in ((16, kinds), (24, "wav,flac")):
            options = ("--formats", wanted, "--bits", bits)
            run_tercet(*command, tmp_path / run / str(bits), *options, hash_seed=hash_seed, player=player)
    made = [path.suffix for path in (tmp_path / "one").rglob("*.*")]
    assert {ending: made.count(ending) for ending in sorted(set(made))} == {
        ".flac": 2, ".json": 2, ".mid": 2, ".mp3": 1, ".ogg": 1, ".opus": 1, ".wav": 2,
    }  # fmt: skip
    assert differing_files(tmp_path / "one", tmp_path / "two") == ()


@pytest.fixture(scope="session")
def demos(short: Workshop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with the short song's demo in every format."""
    folder = tmp_path_factory.mktemp("demos")
    kinds = ",".join(ending[1:] for ending in FORMATS)
    run_tercet("kit", short.song_path, "-o", folder, "--tracks", "demo", "--formats", kinds)
    return folder / short.song_path.stem


@pytest.mark.parametrize("ending", FORMATS)
def test_every_format_says_what_it_is_and_sounds_the_same(ending: str, demos: Path) -> None:
    assert tags_of(demos / f"02-demo{ending}") == {
        "title": "Kettle and Cup (demo)",
        "artist": "Tercet example songs",
        "album": "Kettle and Cup",
        "number": "2",
        "licence": "CC0-1.0",
    }
    track, plain = read_track(demos / f"02-demo{ending}"), read_track(demos / "02-demo.wav")
    assert track.rate_hz == plain.rate_hz == SAMPLE_RATE_HZ
    assert track.length_frames == plain.length_frames
    assert abs(delay_s(track, plain)) <= 0.0001
    assert true_peak_dbtp(track) <= (-2.0 if FORMATS[ending].lossy else -1.0) + 0.1
    assert integrated_lufs(track) <= -16.0 + 0.1


def test_the_command_prints_what_it_made(tmp_path: Path, short: Workshop) -> None:
    printed = run_tercet("kit", short.song_path, "-o", tmp_path)
    made = sorted(path.name for path in (tmp_path / short.song_path.stem).iterdir())
    tracks = [f"{number:02}-{recipe.name}.wav" for number, recipe in enumerate(RECIPES, 1)]
    assert made == [*tracks, f"{short.song_path.stem}.mid", "kit.json"]
    for name in made[:-1]:
        assert name in printed
