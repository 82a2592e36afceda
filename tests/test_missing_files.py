"""What is said of a file that isn't there: the one that is likely meant, else which there are."""

from __future__ import annotations

from pathlib import Path

import pytest

from tercet.errors import RequestError
from tercet.missing_files import SONG_ENDINGS, files_in, folder_instead, missing_file

NAMES = ("kettle.yaml", "Two Kettles.yaml", "harbour.yml", "apples.txt", "class.yaml", "songs/gate.yaml")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "songs").mkdir()
    for name in NAMES:
        (tmp_path / name).touch()
    return tmp_path


@pytest.mark.parametrize(
    ("given", "meant"),
    [
        ("kettle", "kettle.yaml"),
        ("kettle.yml", "kettle.yaml"),
        ("KETTLE.YAML", "kettle.yaml"),
        ("ketle.yaml", "kettle.yaml"),
        ("two-kettles.yaml", "Two Kettles.yaml"),
        ("two_kettles", "Two Kettles.yaml"),
        ("harbour.yaml", "harbour.yml"),
        ("apples.yaml", "apples.txt"),
        ("gate.yaml", "songs/gate.yaml"),
        ("song/gate.yaml", "songs/gate.yaml"),
        ("songs/gat.yaml", "songs/gate.yaml"),
    ],
)
def test_the_file_that_is_meant(folder: Path, given: str, meant: str) -> None:
    error = missing_file(Path(given), SONG_ENDINGS)
    assert str(error) == f"there is no file {given}; did you mean {meant}?"
    assert (error.given, error.meant) == (given, meant)
    assert (folder / meant).is_file()


def test_where_none_is_meant(folder: Path) -> None:
    def said(given: str) -> str:
        error = missing_file(Path(given), SONG_ENDINGS)
        assert error.meant == ""
        return str(error)

    assert said("waltz.yaml") == (
        "there is no file waltz.yaml; in this folder are Two Kettles.yaml, harbour.yml and kettle.yaml"
    )
    assert said("songs/waltz.yaml") == "there is no file songs/waltz.yaml; in songs is gate.yaml"
    assert said("elsewhere/a.yaml") == "there is no file elsewhere/a.yaml: there is no folder elsewhere"
    for number in range(9):
        (folder / "songs" / f"{number}.yaml").touch()
    assert said("songs/waltz.yaml").endswith("are 0.yaml, 1.yaml, 2.yaml, 3.yaml and 6 more")
    (folder / "empty").mkdir()
    assert said("empty/a.yaml").endswith("and none that ends in .yaml or .yml in empty")


def test_a_folder_instead_of_a_file(folder: Path) -> None:
    error = folder_instead(Path("songs"), SONG_ENDINGS)
    assert isinstance(error, RequestError)
    assert str(error) == "songs is a folder: name a file in it, such as songs/gate.yaml"
    assert error.meant == "songs/gate.yaml"
    (folder / "empty").mkdir()
    assert str(folder_instead(Path("empty"), SONG_ENDINGS)).endswith("no file in it ends in .yaml or .yml")


def test_class_files_are_no_songs(folder: Path) -> None:
    assert files_in(folder, SONG_ENDINGS) == ("Two Kettles.yaml", "harbour.yml", "kettle.yaml")


def test_what_no_system_looks_at() -> None:
    assert "there is no file" in str(missing_file(Path("a\0b.yaml"), SONG_ENDINGS))
    assert "there is no file" in str(missing_file(Path("x" * 5000), SONG_ENDINGS))
