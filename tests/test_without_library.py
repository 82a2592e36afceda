"""Without the FluidSynth library everything is made on the built-in ukulele; only sound fonts can't be played."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tercet.tracks.recipes import RECIPES
from tests.kits import FONT, HARBOUR_LANTERNS, ROOT, SONG_ONCE, Kit
from tests.promises import PROMISES


@pytest.fixture(scope="module")
def hidden(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment in which pyfluidsynth says what it says where the library is missing, its cache empty at first."""
    folder = tmp_path_factory.mktemp("hidden")
    (folder / "fluidsynth.py").write_text(
        'raise ImportError("Couldn\'t find the FluidSynth library.")\n', "utf-8"
    )
    environment = {**os.environ, "PYTHONPATH": str(folder), "TERCET_CACHE": str(folder / "cache")}
    environment.pop("TERCET_SOUND", None)
    return environment


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "kettle.yaml"
    path.write_text(SONG_ONCE, encoding="utf-8")
    return path


def tercet(environment: dict[str, str], *arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tercet", *map(str, arguments)]
    return subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, encoding="utf-8", check=False
    )


def test_the_demo_that_make_makes_is_whole(hidden: dict[str, str], song: Path, tmp_path: Path) -> None:
    """By the command of the Makefile, on a shorter song."""
    recipe = (ROOT / "Makefile").read_text("utf-8").partition("\ndemo:")[2].splitlines()[2]
    command = recipe.strip().removeprefix("$(BIN)/tercet ").split()
    assert command == ["page", "songs/harbour-lanterns.yaml", "-o", "demo/"]
    made = tercet(hidden, "page", song, "-o", tmp_path / "demo")
    assert made.returncode == 0, made.stderr
    folder = tmp_path / "demo" / song.stem
    told = json.loads((folder / "kit.json").read_text("utf-8"))["files"]
    tracks = [folder / file["file"] for file in told if file["file"].endswith(".mp3")]
    assert len(tracks) >= 10
    assert all(path.stat().st_size > 50_000 for path in [*tracks, folder / "page" / "first-line.mp3"])
    assert '"take":' in (folder / "index.html").read_text("utf-8")
    assert all(file["loudness_lufs"] > -45.0 for file in told if "loudness_lufs" in file)


def test_a_kit_of_every_track_is_whole(hidden: dict[str, str], song: Path, tmp_path: Path) -> None:
    made = tercet(hidden, "kit", song, "-o", tmp_path / "kits", "--jobs", 2)
    assert made.returncode == 0, made.stderr
    kit = Kit(tmp_path / "kits" / song.stem, song)
    assert list(kit.track_paths) == [recipe.name for recipe in RECIPES]
    for name in ("tracks add up", "melody in front, strums at the back", "in tune"):
        PROMISES[name](kit)


def test_what_is_missing_is_said_with_how_to_get_it(hidden: dict[str, str], tmp_path: Path) -> None:
    listed = tercet(hidden, "sounds")
    assert listed.returncode == 0, listed.stderr
    assert listed.stdout.startswith("plays  Tercet Ukulele (built in)")
    assert "Sound fonts are played by the FluidSynth library, which can't be loaded here" in listed.stdout
    assert "Install it: " in listed.stdout
    told = json.loads(tercet(hidden, "sounds", "--json").stdout)
    assert told["chosen"]["path"] is None
    assert "Install it: " in told["missing"]
    asked = tercet(hidden, "render", HARBOUR_LANTERNS, "-o", tmp_path / "demo.wav", "--sound", FONT)
    assert asked.returncode == 3
    assert "can't be loaded here" in asked.stderr
    assert "--sound built-in" in asked.stderr
    assert not (tmp_path / "demo.wav").exists()
