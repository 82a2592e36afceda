"""A kit of several sets: what makes no sense in one of them is left out there, and nothing is made twice."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran
from tests.measure.midi import read_with_mido

Run = Callable[..., Ran]
LEFT_OUT = "left out, as nothing would be left to play or to hear: "


def files_in(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*.wav")}


def test_a_track_that_one_set_can_not_have_is_made_in_the_others(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    """Beginners beside others have a part without rolls."""
    sets = ("--players", "beginner,improving", "--tuning", "high-g,low-g")
    ran = tercet("kit", song, "-o", tmp_path, *sets, "--tracks", "only-strums,turns-rolls", "--jobs", "1")
    assert ran.code == 0
    assert files_in(tmp_path / "two-kettles") == {
        f"{tuning}-{players}/{name}.wav"
        for tuning in ("high-g", "low-g")
        for players, names in {
            "beginner": ("16-only-strums",),
            "improving": ("16-only-strums", "24-turns-rolls"),
        }.items()
        for name in names
    }
    for tuning in ("high-g", "low-g"):
        assert f"Two Kettles ({tuning}, beginner): {LEFT_OUT}turns-rolls" in ran.err
    again = tercet("kit", song, "-o", tmp_path, *sets, "--tracks", "only-strums,turns-rolls", "--jobs", "1")
    assert (again.code, "none made now" in again.err) == (0, True)


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_set_that_is_left_without_tracks_still_has_its_notes(
    song: Path, tmp_path: Path, tercet: Run, jobs: str
) -> None:
    text = song.read_text("utf-8").replace("sections:", "tracks:\n  mine: {heard: roll}\nsections:")
    song.write_text(text, "utf-8")
    ran = tercet(
        "kit", song, "-o", tmp_path, "--players", "beginner,improving", "--tracks", "mine", "--jobs", jobs
    )
    assert ran.code == 0
    assert f"Two Kettles (beginner): {LEFT_OUT}mine" in ran.err
    assert files_in(tmp_path / "two-kettles") == {"improving/32-mine.wav"}
    assert len(list((tmp_path / "two-kettles").rglob("*.mid"))) == 2


def test_a_track_that_no_set_can_have_is_refused(song: Path, tmp_path: Path, tercet: Run) -> None:
    own = "tracks:\n  mine: {heard: chop}\nsections:"
    song.write_text(song.read_text("utf-8").replace("sections:", own), "utf-8")
    ran = tercet("kit", song, "-o", tmp_path / "out", "--players", "beginner,improving", "--jobs", "1")
    assert ran.code == 1
    assert "Two Kettles: the track mine makes no sense here: no note of this song would be heard" in ran.err
    assert not (tmp_path / "out").exists()


def test_a_set_for_each_singers_key_is_arranged_anew(song: Path, tmp_path: Path, tercet: Run) -> None:
    command = ("kit", song, "-o", tmp_path, "--tracks", "demo", "--jobs", "1")
    ran = tercet(*command, "--tuning", "high-g,low-g", "--keys", "-2,+3")
    assert ran.code == 0, ran.err
    folders = {f"{tuning}-{key}" for tuning in ("high-g", "low-g") for key in ("bb-major", "eb-major")}
    assert {name.rpartition("/")[0] for name in files_in(tmp_path / "two-kettles")} == folders
    sets = json.loads((tmp_path / "two-kettles" / "kit.json").read_text("utf-8"))["sets"]
    assert [one["key"] for one in sets] == ["Bb major"] * 2 + ["Eb major"] * 2
    melodies = {
        folder: read_with_mido(tmp_path / "two-kettles" / folder / "two-kettles.mid").tracks["melody"]
        for folder in folders
    }
    highest = {folder: max(note.midi for note in melody) for folder, melody in melodies.items()}
    for tuning in ("high-g", "low-g"):
        assert (highest[f"{tuning}-eb-major"] - highest[f"{tuning}-bb-major"]) % 12 == 5
    # Not merely moved: other strings are free to roll over.
    moved = [note.midi + 5 for note in melodies["high-g-bb-major"]]
    assert sorted(moved) != sorted(note.midi for note in melodies["high-g-eb-major"])


def test_keys_that_can_not_be_are_told(song: Path, tmp_path: Path, tercet: Run) -> None:
    for keys, says in (
        ("-2,14", "--keys must be semitones from the song's key, -11 to +11, such as 0,-2,+3 (got 14)"),
        ("0,F", "--keys must be semitones from the song's key, -11 to +11, such as 0,-2,+3 (got F)"),
        ("-3,9", "--keys: -3 and +9 are one key: remove one"),
    ):
        ran = tercet("kit", song, "-o", tmp_path / "out", "--keys", keys)
        assert (ran.code, says in ran.err) == (2, True), ran.err


def test_a_page_of_a_class_with_such_sets_is_made(song: Path, tmp_path: Path, tercet: Run) -> None:
    (song.parent / "class.yaml").write_text("players: beginner, improving\n", "utf-8")
    ran = tercet("page", song, "-o", tmp_path / "out", "--speeds", "100%")
    assert ran.code == 0
    assert "(beginner): left out" in ran.err
    assert (tmp_path / "out" / "two-kettles" / "index.html").is_file()
    assert len(list((tmp_path / "out").rglob("*-turns-rolls.mp3"))) == 1


@pytest.mark.parametrize("speed", ["100%", "80%"])
def test_a_track_with_a_speed_of_its_own_is_made_once(
    song: Path, tmp_path: Path, tercet: Run, speed: str
) -> None:
    own = f"tracks:\n  mine: {{heard: strums, speed: {speed}}}\nsections:"
    song.write_text(song.read_text("utf-8").replace("sections:", own), "utf-8")
    ran = tercet(
        "kit", song, "-o", tmp_path, "--tracks", "mine,only-strums", "--speeds", "80%,100%", "--jobs", "1"
    )
    assert ran.code == 0
    assert files_in(tmp_path / "two-kettles") == {
        "32-mine.wav", "16-only-strums-80.wav", "16-only-strums.wav"
    }  # fmt: skip


def test_what_is_asked_for_twice_is_made_once(song: Path, tmp_path: Path, tercet: Run) -> None:
    twice = ("--tracks", "only-strums,only-strums", "--formats", "wav,WAV", "--speeds", "80%,80%")
    ran = tercet("kit", song, "-o", tmp_path, *twice, "--jobs", "1")
    assert ran.code == 0
    assert "2 files, 2 made now" in ran.err
