"""What can't be made is refused before any work starts, in words that a teacher understands."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran

Run = Callable[..., Ran]


@pytest.fixture(autouse=True)
def no_work(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("nothing may be played")

    monkeypatch.setattr("tercet.sound.fluid.render_strokes", refuse)


@pytest.mark.parametrize(
    ("asked", "code", "says"),
    [
        (["--tracks", "demoo"], 1, r"no track demoo; did you mean demo\?"),
        (["--bars", "99"], 1, r"\b99\b"),
        (["--bars", "refrain"], 1, "refrain"),
        (["--tracks", "only-between"], 1, "Two Kettles: the track only-between makes no sense here: no note"),
        (["--tracks", "without-between"], 1, "without-between makes no sense here: it would hold every note"),
        (["--speeds", "0"], 2, r"25% to 200% \(got 0\)"),
        (["--speeds", "70"], 2, r"25% to 200% \(got 70\); did you mean 70%\?"),
        (["--speeds", "900%"], 2, r"25% to 200% \(got 900%\)"),
        (["--speeds", "fast"], 2, "a percentage such as 70%"),
        (["--formats", "mp4"], 2, r"--formats must be among wav, flac, mp3, .* \(got mp4\)"),
        (["--count-in", "99"], 2, "0 to 8"),
        (["--jobs", "0"], 2, r"--jobs must be 1 or more \(got 0\)"),
        (["--jobs", "2", "--cluster", "tcp://127.0.0.1:9"], 2, "give one of them"),
        (["--cluster", "tcp://127.0.0.1:9"], 3, "no Dask scheduler answers at tcp://127.0.0.1:9"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_request_that_can_not_be_done(
    song: Path, tmp_path: Path, tercet: Run, asked: list[str], code: int, says: str
) -> None:
    text = song.read_text("utf-8").replace("G4 A G", "G4:3").replace("B4:2 A", "B4:3").replace(" wa- ter", "")
    song.write_text(
        text.replace("sings, two", "sings").replace("strum:", "between: as-written\nstrum:"), "utf-8"
    )
    jobs = [] if {"--jobs", "--cluster"} & {*asked} else ["--jobs", "1"]
    ran = tercet("kit", song, "-o", tmp_path / "out", *asked, *jobs)
    assert re.search(says, ran.err), ran.err
    assert ran.code == code
    assert "Traceback" not in ran.err
    assert not (tmp_path / "out").exists()


def test_a_songs_own_track_that_picks_nothing(song: Path, tmp_path: Path, tercet: Run) -> None:
    own = "tracks:\n  high: {heard: chop}\nsections:"
    song.write_text(song.read_text("utf-8").replace("sections:", own), "utf-8")
    ran = tercet("kit", song, "-o", tmp_path / "out", "--jobs", "1")
    assert ran.code == 1
    assert "the track high makes no sense here: no note of this song would be heard in it" in ran.err
    assert not (tmp_path / "out").exists()


def test_two_songs_of_one_name(song: Path, tmp_path: Path, tercet: Run) -> None:
    (tmp_path / "b").mkdir()
    twin = tmp_path / "b" / song.name
    twin.write_bytes(song.read_bytes())
    ran = tercet("kit", song, twin, "-o", tmp_path / "out")
    assert ran.code == 1
    assert "would both go to two-kettles/: rename one" in ran.err


def test_a_recording_is_no_folder(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("kit", song, "-o", tmp_path / "out.mp3")
    assert (
        "out.mp3 would become a folder: name one, such as out; for one track alone: tercet render" in ran.err
    )
    assert ran.code == 1
    assert not (tmp_path / "out.mp3").exists()


def test_the_tune_is_no_layer(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("render", song, "-o", tmp_path / "out.mp3", "--without", "tune")
    assert "for the whole tune, the track without-tune" in ran.err
    assert ran.code == 2
