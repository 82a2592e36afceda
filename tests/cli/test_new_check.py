"""``tercet new`` and ``tercet check``."""

from __future__ import annotations

import io
import json
import re
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.cli.main import main
from tests.cli.conftest import Ran
from tests.song.editor import edited

Run = Callable[..., Ran]


def test_a_new_song_passes_check_and_is_never_overwritten(tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "songs" / "rain-on-tin.yaml"
    made = tercet("new", path)
    assert (made.code, made.out) == (0, f"{path}\n")
    assert "title: Rain On Tin" in path.read_text(encoding="utf-8")
    checked = tercet("check", path)
    assert checked.code == 0
    assert "Rain On Tin, no mistakes" in checked.out
    before = path.read_bytes()
    again = tercet("new", path)
    assert again.code == 1
    assert "stays as it is" in again.err
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "stem",
    [
        "q: [a",
        "- x",
        "#1",
        "'",
        '"two',
        "{a: b}",
        "true",
        "null",
        "1e3",
        "0x1F",
        "12:30",
        "~",
        "%",
        "@b",
        "a\\b",
        "---",
        "a\nb",
        "a\x1b[31mb",
        "\udcfc\udcff",
        "gr\udcfcn",
        "…",
        "x" * 250,
        "*a &b",
        "é " * 80,
        "{name}",
        "\u202e",
    ],
)
def test_whatever_a_new_song_is_called_it_reads(stem: str, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / f"{stem}.yaml"
    made = tercet("new", path)
    assert made.code == 0, made.err
    assert path.is_file()
    checked = tercet("check", path)
    assert checked.code == 0, checked.err
    assert "no mistakes" in checked.out


def test_new_with_a_name_that_no_disk_takes(tmp_path: Path, tercet: Run) -> None:
    refused = tercet("new", tmp_path / ("long " * 60 + ".yaml"))
    assert refused.code == 3
    assert "its name is too long for this disk" in refused.err
    assert list(tmp_path.iterdir()) == []


def test_new_wants_a_yaml_name(tmp_path: Path, tercet: Run) -> None:
    refused = tercet("new", tmp_path / "rain.txt")
    assert refused.code == 1
    assert "such as rain.yaml" in refused.err
    assert list(tmp_path.iterdir()) == []


def test_new_in_a_place_that_is_no_folder(tmp_path: Path, tercet: Run) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    refused = tercet("new", tmp_path / "file" / "song.yaml")
    assert refused.code == 3
    assert "not a folder" in refused.err


def test_check_counts_what_is_played(song: Path, tercet: Run) -> None:
    checked = tercet("check", song)
    assert checked.code == 0
    assert "Two Kettles, no mistakes" in checked.out
    assert "C major, 3/4, high-g, 6 bars: verse verse" in checked.out


def test_check_shows_every_mistake_marked(song: Path, tercet: Run) -> None:
    text = (
        song.read_text(encoding="utf-8").replace("C      | G7 ", "Cq     | G7 ").replace("B4:2 A ", "B4:3 A ")
    )
    song.write_text(text, encoding="utf-8")
    checked = tercet("check", song)
    assert checked.code == 1
    assert "2 mistakes in" in checked.err
    assert "line 11, verse, bar 1, chords: `Cq` isn't a chord" in checked.err
    assert "    now:    »Cq«\n" in checked.err


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [("ascii", ">>Cq<<"), ("cp932", ">>Cq<<"), ("cp437", "»Cq«"), ("cp1252", "»Cq«"), ("utf-8", "»Cq«")],
)
def test_marks_on_a_terminal_of_few_signs(
    encoding: str, shown: str, song: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    song.write_text(
        song.read_text(encoding="utf-8").replace("C      | G7 ", "Cq     | G7 "), encoding="utf-8"
    )
    terminal = io.BytesIO()
    monkeypatch.setattr("sys.stderr", io.TextIOWrapper(terminal, encoding=encoding))
    assert main(["check", str(song)]) == 1
    sys.stderr.flush()
    assert f"    now:    {shown}\n" in terminal.getvalue().decode(encoding)


def test_check_as_json(song: Path, tmp_path: Path, tercet: Run) -> None:
    broken = tmp_path / "broken.yaml"
    broken.write_text(song.read_text(encoding="utf-8").replace("G4 A G ", "G4 a G "), encoding="utf-8")
    checked = tercet("check", "--json", song, broken)
    good, bad = json.loads(checked.out)
    assert checked.code == 1
    assert (good["title"], good["bars"], good["tuning"], good["mistakes"]) == ("Two Kettles", 6, "high-g", [])
    assert good["problems"] == []
    assert [(mistake["line"], mistake["row"]) for mistake in bad["mistakes"]] == [(12, "melody")]
    (mistake,) = bad["mistakes"]
    names = "line column width section bar row message mend edits"
    assert list(mistake) == names.split()
    assert (mistake["section"], mistake["bar"], mistake["mend"]) == ("verse", 1, "")
    (edit,) = mistake["edits"]
    column = mistake["column"]
    assert edit == {"line": 12, "column": column, "end_line": 12, "end_column": column + 1, "text": "A"}
    broken.write_text(edited(broken.read_text(encoding="utf-8"), mistake["edits"]), encoding="utf-8")
    assert tercet("check", broken).code == 0


@pytest.mark.parametrize(("options", "code"), [((), 0), (("--as-written",), 1)])
def test_a_note_that_no_string_has_is_told_and_fails_where_it_stays_as_written(
    options: tuple[str, ...], code: int, song: Path, tercet: Run
) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("G4 A G ", "G4 A G3 "), encoding="utf-8")
    checked = tercet("check", song, *options)
    assert checked.code == code
    assert "G3 (196 Hz), 2 times, lies below the lowest string (C4)" in checked.out
    assert "remedy:" in checked.out
    problems = json.loads(tercet("check", "--json", song, *options).out)[0]["problems"]
    assert [(problem["unplayable"], problem["off_neck"]) for problem in problems] == [(bool(code), True)]


def test_check_looks_at_another_key_tuning_and_players(song: Path, tercet: Run) -> None:
    checked = tercet(
        "check", song, "--transpose", "-14", "--tuning", "low-g", "--players", "beginner", "--json"
    )
    report = json.loads(checked.out)[0]
    as_it_is = json.loads(tercet("check", song, "--json").out)[0]
    assert (report["tuning"], as_it_is["tuning"]) == ("low-g", "high-g")
    assert report["key"] != as_it_is["key"]
    assert any(problem["off_neck"] for problem in report["problems"])
    remedies = " ".join(problem["remedy"] for problem in report["problems"] if problem["off_neck"])
    asked = re.search(r"--transpose (-?\d+)", remedies)
    assert asked is not None
    again = tercet(
        "check", song, "--transpose", asked[1], "--tuning", "low-g", "--players", "beginner", "--json"
    )
    assert not any(problem["off_neck"] for problem in json.loads(again.out)[0]["problems"])


def test_a_file_that_is_not_there(tmp_path: Path, tercet: Run) -> None:
    checked = tercet("check", tmp_path / "no.yaml")
    assert checked.code == 1
    assert "no.yaml" in checked.err
    assert json.loads(tercet("check", "--json", tmp_path / "no.yaml").out)[0]["error"]


def test_notes_that_the_background_covers_are_reported_and_cleared(
    tercet: Callable[..., Ran], tmp_path: Path
) -> None:
    path = tmp_path / "covered.yaml"
    path.write_text(
        "title: Covered\ntuning: low-g\ndynamics: {melody: pp, between: pp, strums: fff}\nsections:\n"
        "  verse: |\n    chords C | C\n    melody D4:2 D:2 | D:4\n    strum  . d . d | . . . .\n",
        encoding="utf-8",
    )
    report = json.loads(tercet("check", path, "--json").out)[0]
    assert report["covered"], "the loud strums cover nothing"
    assert {"bar", "section", "note", "margin_db", "by"} == set(report["covered"][0])
    assert "doesn't stand clear of" in tercet("check", path).out
    for name, options in (("plain", ()), ("clear", ("--clear",))):
        assert tercet("render", path, "-o", tmp_path / f"{name}.mid", *options).code == 0
    assert (tmp_path / "plain.mid").read_bytes() != (tmp_path / "clear.mid").read_bytes()
