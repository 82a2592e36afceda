"""docs/tracks.md says what `tercet kit` does: every track, every field of kit.json, and examples that are right."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tercet.cli.main import build_parser
from tercet.song import parse_song
from tercet.song.practice_forms import PRACTICE_FORMS
from tercet.tracks import RECIPES, SECOND_RECIPES
from tercet.tracks.recipes import own_recipes

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = (DOCS / "tracks.md").read_text("utf-8")


def rows(heading: str) -> list[list[str]]:
    """Return the cells of the first table under a heading, without its head."""
    section = PAGE.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    found = [line.strip("|").split("|") for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in found[2:]]


def test_every_track_stands_in_the_table_with_its_sentence() -> None:
    told = [(name.strip("`"), purpose) for name, purpose, _ in rows("The tracks")]
    assert told == [(recipe.name, recipe.purpose) for recipe in (*RECIPES, *SECOND_RECIPES)]
    assert all(len(who) > 10 for _, _, who in rows("The tracks"))


def test_every_practice_form_stands_in_the_table_as_it_is() -> None:
    told = rows("How a track goes")
    assert [(name.strip("`"), about) for name, about, _, _ in told] == [
        (form.name, form.about) for form in PRACTICE_FORMS.values()
    ]
    for (_, _, settings, speeds), form in zip(told, PRACTICE_FORMS.values(), strict=True):
        assert tuple(re.findall(r"`(.*?)`", settings)) == form.settings
        usual = " ".join(f"{float(speed):.0%}" for speed in form.speeds)
        assert speeds == (usual or "as asked for")


def test_every_field_of_the_manifest_is_told_and_no_other(
    song: Path, tmp_path: Path, tercet: Callable[..., Any]
) -> None:
    ran = tercet("kit", song, "-o", tmp_path, "--tracks", "echo", "--jobs", "1")
    assert ran.code == 0, ran.err
    manifest = json.loads((tmp_path / song.stem / "kit.json").read_bytes())
    there: set[str] = set()

    def look(value: object) -> None:
        if isinstance(value, dict):
            there.update(value)
            for each in value.values():
                look(each)
        elif isinstance(value, list):
            for each in value:
                look(each)

    look(manifest)
    told = {name for row in rows("kit.json") for name in re.findall(r"`([a-z_0-9]+)`", " ".join(row))}
    values = {"yours", "together", "listen", "count", "pulse", "bell"}
    assert told - values == there


def test_the_song_with_tracks_of_its_own_is_right() -> None:
    (text,) = re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)
    song = parse_song(text)
    recipes = own_recipes(song.tracks, "example")
    assert [recipe.name for recipe in recipes] == ["low-voices", "open-verse", "last-line", "echo-bars"]


def test_commands_are_ones_that_tercet_takes() -> None:
    parser = build_parser()
    found = 0
    for page in (PAGE, (DOCS / "many-songs.md").read_text("utf-8")):
        for line in re.findall(r"^\s*\$ tercet (.*)$", page, re.MULTILINE):
            arguments = parser.parse_args(shlex.split(line, comments=True))
            assert callable(arguments.run)
            found += 1
    assert found >= 8
