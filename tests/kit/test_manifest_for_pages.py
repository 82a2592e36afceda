"""What a page takes from a kit's manifest."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tercet.errors import RequestError
from tercet.kit.made_kit import files_to_take, read_kit


def entry(file: str, **more: Any) -> dict[str, Any]:
    return {"file": file, "set": "", "track": "echo", "purpose": "play it back", "length_s": 12.5, **more}


def kit(folder: Path, *files: dict[str, Any], sets: tuple[str, ...] = ("",)) -> Path:
    content = {"tercet_kit": 1, "sets": [{"name": name} for name in sets], "files": list(files)}
    (folder / "kit.json").write_text(json.dumps(content), encoding="utf-8")
    for file in files:
        path = folder / file["file"]
        if path.resolve().is_relative_to(folder.resolve()):
            path.parent.mkdir(exist_ok=True)
            path.touch()
    return folder


def test_tracks_come_with_their_bars_and_turns(tmp_path: Path) -> None:
    turns = [{"whose": "yours", "start_s": 1.0, "end_s": 2.0, "step": "80%"}]
    bars = [{"bar": 3, "section": "verse", "pass": 1, "start_s": 0.5, "end_s": 2.0}]
    (track,) = read_kit(kit(tmp_path, entry("04-echo.mp3", turns=turns, bars=bars, title="Song (echo)")))
    assert (track.file, track.name, track.title, track.length_s) == (
        "04-echo.mp3",
        "echo",
        "Song (echo)",
        12.5,
    )
    assert (track.turns[0].whose, track.turns[0].step, track.bars[0].number) == ("yours", "80%", 3)


def test_only_what_browsers_play_and_what_is_there(tmp_path: Path) -> None:
    kit(tmp_path, entry("01-demo.wav"), entry("01-demo.mp3"), entry("song.mid"), entry("gone.mp3"))
    (tmp_path / "gone.mp3").unlink()
    assert [track.file for track in read_kit(tmp_path)] == ["01-demo.mp3"]


def test_a_file_outside_the_folder_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "other.mp3").touch()
    folder = tmp_path / "song"
    folder.mkdir()
    assert read_kit(kit(folder, entry("../other.mp3"))) == ()


def test_one_set_is_shown_the_first_unless_named(tmp_path: Path) -> None:
    files = [entry(f"{name}/01.mp3", set=name) for name in ("high-g", "low-g")]
    kit(tmp_path, *files, sets=("high-g", "low-g"))
    assert [track.file for track in read_kit(tmp_path)] == ["high-g/01.mp3"]
    assert [track.file for track in read_kit(tmp_path, "low-g")] == ["low-g/01.mp3"]


def test_no_kit_is_no_track(tmp_path: Path) -> None:
    assert read_kit(tmp_path) == ()


@pytest.mark.parametrize("text", ["{", "[]", '{"files": [3]}', '{"files": [{}]}', '{"files": 3}'])
def test_a_damaged_manifest_is_told(tmp_path: Path, text: str) -> None:
    (tmp_path / "kit.json").write_text(text, encoding="utf-8")
    with pytest.raises(RequestError, match=r"kit\.json can't be read"):
        read_kit(tmp_path)


def test_what_can_be_taken_home_comes_in_groups(tmp_path: Path) -> None:
    (tmp_path / "low-g").mkdir()
    for name in ("song.mid", "sheet.pdf", "02.mp3", "01.mp3", ".tercet-1.mp3", "notes.txt", "low-g/01.mp3"):
        (tmp_path / name).touch()
    found = {group: [path.name for path in paths] for group, paths in files_to_take(tmp_path).items()}
    assert found == {"mp3": ["01.mp3", "02.mp3", "01.mp3"], "midi": ["song.mid"], "pdf": ["sheet.pdf"]}
