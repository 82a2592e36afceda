"""``tercet hear``."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tercet.arranging import arrange, song_tuning
from tercet.song import parse_song
from tests.cli.conftest import Ran
from tests.hearing.performances import Performance, play, record
from tests.kits import SHORT_SONG

Run = Callable[..., Ran]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A song, a recording of it called Ada, and one without sound called Ben."""
    place = tmp_path_factory.mktemp("class")
    (place / "kettle.yaml").write_text(SHORT_SONG, encoding="utf-8")
    song = parse_song(SHORT_SONG)
    played = play(arrange(song, song_tuning(song)), Performance("slips", speeds=(0.8, 0.85), wrong=1, seed=5))
    record(played, "phone", place / "Ada")
    soundfile.write(place / "Ben.wav", np.zeros(80_000), 8_000)
    return place


def test_one_recording_is_told_of_in_a_few_lines(folder: Path, tercet: Run) -> None:
    ran = tercet("hear", folder / "kettle.yaml", folder / "Ada.wav")
    assert (ran.code, ran.err) == (0, "")
    lines = ran.out.splitlines()
    assert lines[0] == "Ada: Kettle and Cup"
    assert lines[1].startswith("  went well: ")
    assert re.match(r"  practise next: (Perhaps: b|B)ar \d+: \S+ was heard for \S+\.$", lines[2])
    assert re.match(
        r"  with the track loop: tercet render \S+ --track loop --bars \d+-\d+ --speed 70%", lines[3]
    )


def test_a_class_makes_a_table_and_tells_who_cannot_be_heard(folder: Path, tercet: Run) -> None:
    ran = tercet("hear", folder / "kettle.yaml", folder / "Ada.wav", folder / "Ben.wav", folder / "Ada.wav")
    assert ran.code == 1
    assert "Ben.wav is silent: was the right microphone chosen" in ran.err
    table = ran.out.splitlines()[-3:]
    assert table[0].split() == ["recording", "bars", "track", "what"]
    assert [line.split()[0] for line in table[1:]] == ["Ada", "Ada"]


def test_a_report_is_a_page_that_runs_nothing(folder: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "report.html"
    ran = tercet("hear", folder / "kettle.yaml", folder / "Ada.wav", "-o", path)
    assert ran.code == 0
    assert ran.out.endswith(f"{path}\n")
    page = path.read_text(encoding="utf-8")
    assert "<script" not in page
    assert re.search(
        r"content=\"default-src &#39;none&#39;; style-src &#39;sha256-[\w+/=]+&#39;; img-src data:", page
    )
    assert page.count("<svg") == 1
    assert "<details>" in page
    assert "Kettle and Cup" in page


def test_a_report_is_a_picture_or_figures(folder: Path, tmp_path: Path, tercet: Run) -> None:
    for name, begin in (("a.png", b"\x89PNG"), ("a.svg", b"<"), ("a.json", b"[")):
        assert tercet("hear", folder / "kettle.yaml", folder / "Ada.wav", "-o", tmp_path / name).code == 0
        assert (tmp_path / name).read_bytes().startswith(begin)
    (facts,) = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert facts["recording"] == "Ada"
    assert facts["advice"]["next"]["kind"] == "notes"
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert 'class="ring another note"' in svg


def test_figures_for_programs(folder: Path, tercet: Run) -> None:
    ran = tercet("hear", folder / "kettle.yaml", folder / "Ada.wav", "--json")
    (facts,) = json.loads(ran.out)
    assert {stroke["verdict"] for stroke in facts["strokes"]} >= {"played", "another note"}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("Ben.wav",), "Ben.wav is silent"),
        (("none.wav",), "none.wav can't be read: No such file or directory"),
        (("kettle.yaml",), "kettle.yaml isn't an audio file that can be read"),
        (("Ada.wav", "-o", "report.pdf"), "report.pdf ends in .pdf: a report's name ends in .html, .json"),
        (("Ada.wav", "Ben.wav", "-o", "a.png"), "a picture shows one recording, and 2 are given"),
        (("Ada.wav", "-o", "Ada.wav.html", "--only", "tune"), "--only must be melody"),
        (("Ada.wav", "-o", "kettle.json"), ""),
    ],
)
def test_what_cannot_be_done_is_told(
    folder: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], message: str
) -> None:
    monkeypatch.chdir(folder)
    ran = tercet("hear", "kettle.yaml", *arguments)
    assert (ran.code == 0) == (not message)
    assert message in ran.err
    assert "Traceback" not in ran.err


def test_what_the_user_wrote_stays(folder: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "report.html"
    path.write_text("mine", encoding="utf-8")
    ran = tercet("hear", folder / "kettle.yaml", folder / "Ada.wav", "-o", path)
    assert ran.code == 1
    assert "already exists and stays as it is" in ran.err
    assert path.read_text(encoding="utf-8") == "mine"
