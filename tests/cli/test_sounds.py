"""``tercet sounds``: the built-in ukulele as a file, and reports."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.sound import ukulele
from tercet.sound.sf2_reader import read_header
from tests.cli.conftest import Ran

Run = Callable[..., Ran]


def test_the_built_in_ukulele_is_written_anywhere(tercet: Run, tmp_path: Path) -> None:
    path = tmp_path / "for others" / "uke.sf2"
    ran = tercet("sounds", "--build", "--small", "-o", path)
    assert ran.code == 0, ran.err
    assert ran.out.strip() == str(path)
    assert "making the built-in ukulele" in ran.err
    assert read_header(path).name == "Tercet Ukulele (small)"
    again = tercet("sounds", "--build", "--small", "-o", path)
    assert again.code == 0
    path.write_bytes(b"mine")
    refused = tercet("sounds", "--build", "--small", "-o", path)
    assert refused.code == 1
    assert "stays as it is" in refused.err
    assert path.read_bytes() == b"mine"


def test_build_alone_makes_the_cache_anew(
    tercet: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "uke.sf2"
    monkeypatch.setattr(ukulele, "built_in_path", lambda: place)
    monkeypatch.setattr("tercet.sound.ukulele.ukulele_bytes", lambda progress=None: b"font" * 100)
    place.write_bytes(b"old")
    ran = tercet("sounds", "--build")
    assert (ran.code, ran.out.strip()) == (0, str(place))
    assert place.read_bytes() == b"font" * 100


def test_the_built_in_ukulele_is_listed_and_plays_unless_something_else_is_asked_for(
    tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TERCET_SOUND")
    listed = tercet("sounds")
    assert listed.out.startswith("plays  Tercet Ukulele")
    assert json.loads(tercet("sounds", "--json").out)["chosen"]["preset"] == "Ukulele"


def test_a_font_is_reported_on_in_words_figures_and_a_picture(tercet: Run, tmp_path: Path) -> None:
    picture = tmp_path / "font.svg"
    ran = tercet("sounds", "--report", "TimGM6mb", "-o", picture)
    assert ran.code == 0, ran.err
    assert "weak  brightness" in ran.out
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    told = json.loads(tercet("sounds", "--report", "built-in", "--json").out)
    assert told["name"].startswith("Tercet Ukulele")
    assert all(verdict["good"] for verdict in told["verdicts"])


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--build", "--report"], "two different jobs"),
        (["--small"], "goes with --build"),
        (["--build", "--small"], "name it by -o"),
        (["-o", "x.sf2"], "goes with --build or --report"),
        (["--build", "-o", "x.wav"], r"must end in .sf2 (got x.wav)"),
        (["--report", "-o", "x.png"], r"must end in .svg (got x.png)"),
    ],
)
def test_what_does_not_go_together_is_said(tercet: Run, arguments: list[str], message: str) -> None:
    ran = tercet("sounds", *arguments)
    assert ran.code == 1
    assert message in ran.err


def test_a_counting_line_on_a_terminal(tercet: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    ran = tercet("sounds", "--build", "--small", "-o", tmp_path / "uke.sf2")
    assert "making the built-in ukulele, once" in ran.err
    assert "1/" in ran.err
