"""``tercet check --picture``."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran
from tests.measure.picture import marks_of, size_of_png, words_of

Run = Callable[..., Ran]


def test_a_picture_is_drawn_beside_the_report(song: Path, tmp_path: Path, tercet: Run) -> None:
    picture = tmp_path / "new" / "kettles.svg"
    checked = tercet("check", song, "--picture", picture)
    assert checked.code == 0
    assert "Two Kettles, no mistakes" in checked.out
    assert checked.out.endswith(f"{picture}\n")
    svg = picture.read_text(encoding="utf-8")
    assert words_of(svg, "title") == ["Two Kettles"]
    assert words_of(svg, "word")[:4] == ["Hot", "wa-", "ter", "sings,"]
    assert {mark.layer for mark in marks_of(svg)} >= {"melody", "strums"}


@pytest.mark.parametrize("ending", ["svg", "png", "PNG"])
def test_the_same_song_gives_the_same_bytes(song: Path, tmp_path: Path, tercet: Run, ending: str) -> None:
    first, second = (tmp_path / f"{name}.{ending}" for name in ("first", "second"))
    assert tercet("check", song, "--picture", first).code == 0
    assert tercet("check", song, "--picture", second).code == 0
    assert first.read_bytes() == second.read_bytes()
    if ending != "svg":
        assert size_of_png(first.read_bytes())[0] == 2400


def test_json_names_the_picture(song: Path, tmp_path: Path, tercet: Run) -> None:
    picture = tmp_path / "kettles.svg"
    (facts,) = json.loads(tercet("check", song, "--json", "--picture", picture).out)
    assert facts["picture"] == str(picture)
    assert picture.exists()
    assert "picture" not in json.loads(tercet("check", song, "--json").out)[0]


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("kettles.jpg", r"ends in .jpg: a picture's name ends in .svg or .png, such as kettles.svg"),
        ("kettles", "ends in nothing"),
        ("two-kettles.yaml", "ends in .yaml"),
    ],
)
def test_an_unknown_ending_is_told(song: Path, tmp_path: Path, tercet: Run, name: str, message: str) -> None:
    before = sorted(tmp_path.iterdir()), song.read_bytes()
    refused = tercet("check", song, "--picture", tmp_path / name)
    assert (refused.code, refused.out) == (1, "")
    assert message in refused.err
    assert (sorted(tmp_path.iterdir()), song.read_bytes()) == before


def test_one_picture_shows_one_song(song: Path, tmp_path: Path, tercet: Run) -> None:
    refused = tercet("check", song, song, "--picture", tmp_path / "both.svg")
    assert (refused.code, refused.out) == (1, "")
    assert "--picture draws one song, and 2 are given" in refused.err
    assert not (tmp_path / "both.svg").exists()


def test_a_folder_in_the_way_is_told(song: Path, tmp_path: Path, tercet: Run) -> None:
    (tmp_path / "shut.svg").mkdir()
    refused = tercet("check", song, "--picture", tmp_path / "shut.svg")
    assert refused.code == 1
    assert "is a folder" in refused.err
    refused = tercet("check", song, "--picture", song / "kettles.svg")
    assert refused.code == 3
    assert "a part of its path is a file, not a folder" in refused.err


def test_a_song_with_mistakes_leaves_an_older_picture_as_it_is(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    picture = tmp_path / "kettles.svg"
    picture.write_text("older", encoding="utf-8")
    song.write_text(song.read_text(encoding="utf-8").replace("B4:2 A ", "B4:3 A "), encoding="utf-8")
    assert tercet("check", song, "--picture", picture).code == 1
    assert picture.read_text(encoding="utf-8") == "older"
