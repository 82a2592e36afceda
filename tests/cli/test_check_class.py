"""``tercet check`` and the class file beside the songs."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import SMALL_SONG, Ran

Run = Callable[..., Ran]


@pytest.fixture
def beside(song: Path) -> Path:
    return song.with_name("class.yaml")


def test_it_is_read_if_it_is_there(song: Path, beside: Path, tercet: Run) -> None:
    assert "class" not in tercet("check", song).out
    beside.write_text("name: Tuesday class\nspeeds: 60%\n", encoding="utf-8")
    checked = tercet("check", song)
    assert checked.code == 0
    assert checked.out.startswith(f"{beside}: Tuesday class, no mistakes\n{song}: Two Kettles, no mistakes\n")
    report, shared = json.loads(tercet("check", "--json", song).out)
    assert report["unfit_tracks"] == []
    assert shared == {"file": str(beside), "mistakes": [], "class": "Tuesday class"}


def test_its_mistakes_are_reported_and_the_songs_checked(song: Path, beside: Path, tercet: Run) -> None:
    beside.write_text("speeds: 60\nformats: mp4\n", encoding="utf-8")
    checked = tercet("check", song)
    assert checked.code == 1
    assert "line 1, speeds: a speed must be 25% to 200% (got 60)" in checked.err
    assert f"2 mistakes in {beside}" in checked.err
    assert "Two Kettles, no mistakes" in checked.out
    report, shared = json.loads(tercet("check", "--json", song).out)
    assert report["title"] == "Two Kettles"
    assert "unfit_tracks" not in report
    told = [
        (m["line"], m["row"], m["mend"], [edit["text"] for edit in m["edits"]]) for m in shared["mistakes"]
    ]
    assert told == [(1, "speeds", "", ["60%"]), (2, "formats", "", [])]


def test_all_files_of_a_folder(song: Path, beside: Path, tercet: Run) -> None:
    """A shell's ``*.yaml`` names the class file too: it is no song, and it is read once."""
    other = song.with_name("another.yaml")
    other.write_text(SMALL_SONG, encoding="utf-8")
    beside.write_text("name: Us\n", encoding="utf-8")
    checked = tercet("check", other, beside, song)
    assert checked.code == 0
    assert checked.out.count("Us, no mistakes") == 1
    assert checked.out.count("Two Kettles, no mistakes") == 2
    assert tercet("check", beside).out == f"{beside}: Us, no mistakes\n"
    missing = tercet("check", song.parent / "none" / "class.yaml")
    assert missing.code == 1
    assert "there is no file" in missing.err


def test_tracks_of_the_class_that_a_song_has_no_bars_for(song: Path, beside: Path, tercet: Run) -> None:
    beside.write_text(
        "tracks:\n  deep:\n    yours: section cellar\n  first:\n    way: loop\n    bars: verse:1-2\n"
        "  far:\n    way: loop\n    bars: 99\n",
        encoding="utf-8",
    )
    checked = tercet("check", song)
    assert checked.code == 0
    assert "the class's track deep isn't for this song: yours: no section `cellar` is played" in checked.out
    assert "the class's track far isn't for this song: bars: there is no bar 99" in checked.out
    assert "track first" not in checked.out
    song.write_text(SMALL_SONG.replace("form:", "tracks:\n  far:\n    yours: open\nform:"), encoding="utf-8")
    assert "track far" not in tercet("check", song).out


def test_a_song_with_tracks_that_cannot_be(song: Path, tercet: Run) -> None:
    song.write_text(
        SMALL_SONG.replace("form:", "tracks:\n  mine:\n    yours: bar 9\nform:"), encoding="utf-8"
    )
    checked = tercet("check", song)
    assert checked.code == 1
    assert "line 10, tracks, mine: yours: there is no bar 9" in checked.err
