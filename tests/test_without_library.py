"""Without the FluidSynth library everything is made on the built-in ukulele; only sound fonts can't be played."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.kits import FONT, HARBOUR_LANTERNS, LAYER_TRACKS, ROOT, SHORT_SONG, Kit
from tests.promises import PROMISES


@pytest.fixture
def hidden(tmp_path: Path) -> dict[str, str]:
    """An environment in which pyfluidsynth says what it says where the library is missing, and with an empty cache."""
    folder = tmp_path / "hidden"
    folder.mkdir()
    (folder / "fluidsynth.py").write_text(
        'raise ImportError("Couldn\'t find the FluidSynth library.")\n', "utf-8"
    )
    environment = {**os.environ, "PYTHONPATH": str(folder), "TERCET_CACHE": str(tmp_path / "cache")}
    environment.pop("TERCET_SOUND", None)
    return environment


def tercet(environment: dict[str, str], *arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tercet", *map(str, arguments)]
    return subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, encoding="utf-8", check=False
    )


def test_the_demo_and_a_kit_are_made_whole(hidden: dict[str, str], tmp_path: Path) -> None:
    song = tmp_path / "kettle.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    page = tercet(hidden, "page", song, "-o", tmp_path / "demo")
    assert page.returncode == 0, page.stderr
    names = {path.name for path in (tmp_path / "demo").rglob("*")}
    assert {"index.html", "kit.json"} <= names
    made = tercet(hidden, "kit", song, "-o", tmp_path, "--tracks", ",".join(LAYER_TRACKS), "--jobs", 2)
    assert made.returncode == 0, made.stderr
    kit = Kit(tmp_path / "kettle", song)
    for name in ("tracks add up", "melody in front, strums at the back", "in tune"):
        PROMISES[name](kit)


def test_the_demo_that_make_makes_needs_no_library(hidden: dict[str, str], tmp_path: Path) -> None:
    recipe = (ROOT / "Makefile").read_text("utf-8").partition("\ndemo:")[2].splitlines()[2]
    command = recipe.strip().removeprefix("$(BIN)/tercet ").split()
    assert command == ["page", "songs/harbour-lanterns.yaml", "-o", "demo/"]
    made = tercet(hidden, *command[:-1], tmp_path / "demo")
    assert made.returncode == 0, made.stderr
    told = json.loads(next((tmp_path / "demo").rglob("kit.json")).read_text("utf-8"))
    files = [
        path for path in (tmp_path / "demo").rglob("*") if path.suffix in (".mp3", ".ogg", ".opus", ".wav")
    ]
    assert len(files) >= len(told["tracks"]) >= len(LAYER_TRACKS)
    assert all(path.stat().st_size > 50_000 for path in files)


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
