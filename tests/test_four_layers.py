"""A song with a second voice: four layers in every file that a class gets, as exactly as three; without one, three."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from tests.kits import ROOT, Kit, run_tercet
from tests.promises import PROMISES

HARBOUR = ROOT / "songs" / "harbour-lanterns.yaml"
LAYERS = ("melody", "second", "between", "strums")
TRACKS = ("demo", *(f"{way}-{layer}" for way in ("without", "only") for layer in LAYERS))


def with_second(folder: Path, voice: str = "thirds") -> Path:
    path = folder / "harbour-lanterns.yaml"
    path.write_text(HARBOUR.read_text("utf-8").replace("\nkey:", f"\nsecond: {voice}\nkey:", 1), "utf-8")
    return path


@pytest.fixture(scope="module")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Kit:
    """Eight bars of a song with a second voice: its demo, and each layer alone and left out."""
    folder = tmp_path_factory.mktemp("four")
    song = with_second(folder)
    run_tercet(
        "kit", song, "-o", folder / "kit", "--tracks", ",".join(TRACKS), "--bars", "1-8", "--jobs", "1"
    )
    return Kit(folder / "kit" / song.stem, song)


def test_tracks_add_up_as_exactly_as_with_three_layers(kit: Kit) -> None:
    assert sorted(kit.track_paths) == sorted(TRACKS)
    PROMISES["tracks add up"](kit)


def _louder(samples: np.ndarray) -> np.ndarray:
    return samples * 1.01


def _late(samples: np.ndarray) -> np.ndarray:
    return np.concatenate([np.zeros((1, 2)), samples[:-1]])


@pytest.mark.parametrize("track", ["only-second", "without-second"])
@pytest.mark.parametrize("change", [_louder, _late])
def test_that_is_noticed_where_it_is_not_so(
    kit: Kit, tmp_path: Path, track: str, change: Callable[[np.ndarray], np.ndarray]
) -> None:
    broken = Kit(Path(shutil.copytree(kit.folder, tmp_path / "kit")), kit.song_path)
    path = broken.track_paths[track]
    samples, rate_hz = soundfile.read(path, always_2d=True)
    path.unlink()
    soundfile.write(path, change(samples), rate_hz, subtype="PCM_16")
    with pytest.raises(AssertionError, match=r"without-[a-z]+ \+ only-[a-z]+ − demo (is|leaves)"):
        PROMISES["tracks add up"](broken)


def test_the_second_voice_has_a_midi_track_and_a_channel_of_its_own(kit: Kit) -> None:
    file = mido.MidiFile(kit.midi_path)
    names = [track.name for track in file.tracks]
    assert names[1:] == ["count-in", *LAYERS]
    channels = [
        {message.channel for message in track if message.type == "note_on"} for track in file.tracks[2:]
    ]
    assert all(len(found) == 1 for found in channels)
    assert len(set.union(*channels)) == 4


def test_a_song_without_one_keeps_its_files_and_their_names(tmp_path: Path) -> None:
    tracks = "demo,contrast"
    song = with_second(tmp_path)
    run_tercet("kit", HARBOUR, "-o", tmp_path / "three", "--tracks", tracks, "--bars", "1-2")
    run_tercet("kit", song, "-o", tmp_path / "four", "--tracks", tracks, "--bars", "1-2")
    three, four = (
        sorted(path.name for path in (tmp_path / name / song.stem).iterdir()) for name in ("three", "four")
    )
    assert three == four == ["02-demo.wav", "31-contrast.wav", "harbour-lanterns.mid", "kit.json"]


def test_without_it_the_others_are_played_to_the_byte_as_in_a_song_that_has_none(tmp_path: Path) -> None:
    song = with_second(tmp_path)
    run_tercet("render", HARBOUR, "-o", tmp_path / "three.mid")
    run_tercet("render", song, "-o", tmp_path / "four.mid", "--without", "second")
    assert (tmp_path / "three.mid").read_bytes() == (tmp_path / "four.mid").read_bytes()


def test_what_isnt_there_is_told(tmp_path: Path) -> None:
    for asked in (("--without", "second"), ("--only", "second"), ("--track", "only-second")):
        with pytest.raises(AssertionError, match="second voice: write `second: thirds`"):
            run_tercet("render", HARBOUR, "-o", tmp_path / "a.mid", *asked)


def test_its_sheet_is_printed_where_there_is_one(tmp_path: Path) -> None:
    run_tercet("sheet", with_second(tmp_path), "-o", tmp_path / "second.svg", "--second-voice")
    assert "(second voice)" in (tmp_path / "second.svg").read_text("utf-8")
    with pytest.raises(AssertionError, match="has no second voice: write `second: thirds`"):
        run_tercet("sheet", HARBOUR, "-o", tmp_path / "none.svg", "--second-voice")


def test_two_layers_of_four_are_chosen(tmp_path: Path) -> None:
    song = with_second(tmp_path)
    run_tercet("render", song, "-o", tmp_path / "a.mid", "--without", "melody", "--without", "strums")
    tracks = mido.MidiFile(tmp_path / "a.mid").tracks
    assert [track.name for track in tracks][2:] == ["second", "between"]


def test_check_tells_of_the_second_voice_and_shows_its_tab(tmp_path: Path) -> None:
    song = with_second(tmp_path)
    said = run_tercet("check", song, "--tab")
    assert "  second voice, thirds: 105 single notes, up to fret 4, at the fastest " in said
    assert "\nsecond voice\n\nverse\n" in said
    told = json.loads(run_tercet("check", song, "--json"))[0]
    assert told["second"]["voice"] == "thirds"
    assert told["second"]["notes"] == 105
    assert told["covered"] == []
    assert "second" not in json.loads(run_tercet("check", HARBOUR, "--json"))[0]
