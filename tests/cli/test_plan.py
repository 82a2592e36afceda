"""``tercet plan``."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest

from tests.cli.conftest import Ran
from tests.kits import ROOT

Run = Callable[..., Ran]

TERM = """\
name: Tuesday class
this-week: 2
weeks:
- songs:
    bakers-lullaby: {bars: 1-8, note: Soft thumbs.}
- name: 15 September
  note: Bring a pencil.
  songs:
    bakers-lullaby: {bars: 9-17, tracks: [slow, echo]}
    sleeper-train: 1-8
- songs:
    sleeper-train: {note: From the start.}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("bakers-lullaby", "sleeper-train"):
        (tmp_path / f"{name}.yaml").write_bytes((ROOT / "songs" / f"{name}.yaml").read_bytes())
    (tmp_path / "class.yaml").write_text(TERM, encoding="utf-8")
    return tmp_path


def test_a_term_is_told_week_by_week(folder: Path, tercet: Run) -> None:
    ran = tercet("plan", folder)
    assert (ran.code, ran.err) == (0, "")
    first, second, third = ran.out.split("\nWeek ")[1:]
    assert first.startswith(
        "1\n  1. The Baker's Lullaby, bars 1 to 8\n    note      Soft thumbs.\n    new       chords Gm, "
    )
    assert "    tracks    demo: listen" in first
    assert second.startswith(
        "2: 15 September (this week)\n  Bring a pencil.\n  1. The Baker's Lullaby, bars 9 to 17\n"
    )
    assert "    tracks    slow: play along at an easy tempo\n              echo: " in second
    assert "    new       chord Dm\n" in second
    assert "  2. Sleeper Train, bars 1 to 8\n" in second
    assert "    note      From the start.\n    new       chord G7\n" in third
    assert "    tracks    slow: " in third, "it isn't new any more"


def test_a_week_alone_is_what_the_term_says_of_it(folder: Path, tercet: Run) -> None:
    whole = tercet("plan", folder / "class.yaml").out
    alone = tercet("plan", folder, "--week", 2).out.replace("Tuesday class\n\n", "")
    assert alone.replace("Week 2: 15 September", "") in whole.replace("Week 2: 15 September (this week)", "")
    ran = tercet("plan", folder, "--week", 4)
    assert (ran.code, ran.out) == (1, "")
    assert "there is no week 4: the class file plans 3 weeks" in ran.err


def test_a_page_a_week_with_all_of_its_text(folder: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "plan.pdf"
    assert tercet("plan", folder, "-o", path).out == f"{path}\n"
    pages = [page.extract_text() for page in pypdf.PdfReader(path).pages]
    assert len(pages) == 3
    assert ["Week 1\n" in pages[0], "(this week)" in pages[1], "Week 3\n" in pages[2]] == [True] * 3
    lines = [line.strip() for line in tercet("plan", folder).out.splitlines()]
    words = " ".join(" ".join(pages).split())
    lost = [line for line in lines if not all(word in words for word in line.split())]
    assert lost == []
    assert tercet("plan", folder, "-o", path).code == 0, "its own file is made again"
    path.write_bytes(b"mine")
    assert tercet("plan", folder, "-o", path).code == 1
    assert path.read_bytes() == b"mine"


def test_a_week_that_is_long_takes_smaller_letters_then_more_pages(
    folder: Path, tmp_path: Path, tercet: Run
) -> None:
    names = [f"song-{number}" for number in range(12)]
    text = (folder / "sleeper-train.yaml").read_text(encoding="utf-8")
    for number, name in enumerate(names):
        (folder / f"{name}.yaml").write_text(text.replace("Sleeper", f"Sleeper{number}"), encoding="utf-8")
    weeks = "weeks:\n- songs:\n" + "".join(f"    {name}: verse\n" for name in names)
    (folder / "class.yaml").write_text(weeks, encoding="utf-8")
    path = tmp_path / "plan.pdf"
    assert tercet("plan", folder, "-o", path, "--paper", "Letter").code == 0
    read = pypdf.PdfReader(path)
    text = "\n".join(page.extract_text() for page in read.pages)
    assert 1 < len(read.pages) < 4
    assert all(f"{number + 1}. Sleeper{number} Train" in text for number in range(12))


def test_a_mixed_class_is_told_what_each_plays(folder: Path, tercet: Run) -> None:
    (folder / "class.yaml").write_text(
        f"tunings: high-g, low-g\nplayers: beginner, improving\n{TERM}", encoding="utf-8"
    )
    found = json.loads(tercet("plan", folder, "--week", 1, "--json").out)
    (song,) = found["weeks"][0]["songs"]
    assert [part["who"] for part in song["parts"]] == [
        "high-g, beginner", "high-g, improving", "low-g, beginner", "low-g, improving",
    ]  # fmt: skip
    assert all("shape" in part["what"] for part in song["parts"])


def test_the_songs_of_this_week_alone_are_a_plan_too(folder: Path, tercet: Run) -> None:
    (folder / "class.yaml").write_text("this-week: {sleeper-train: 1-4}\n", encoding="utf-8")
    assert tercet("plan", folder).out.startswith("This week\n  1. Sleeper Train, bars 1 to 4\n")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("name: Us\n", "class.yaml plans no week: write weeks: in class.yaml beside the songs"),
        ("weeks:\n- songs: {sleeper-train: 90-99}\n", "class.yaml, weeks, week 1, sleeper-train: "),
        ("weeks:\n- songs: {sleeper-train: {tracks: ecco}}\n", "there is no track ecco; did you mean echo?"),
        ("weeks:\n- songs: {sleper-train: 1}\n", "no song `sleper-train` lies beside this file"),
    ],
)
def test_what_is_wrong_is_told_before_anything_is_written(
    folder: Path, tercet: Run, said: str, told: str
) -> None:
    (folder / "class.yaml").write_text(said, encoding="utf-8")
    ran = tercet("plan", folder, "-o", folder / "plan.pdf")
    assert ran.code == 1
    assert told in ran.err
    assert not (folder / "plan.pdf").exists()


def test_bars_and_tracks_that_are_not_there_are_told_in_one_go(folder: Path, tercet: Run) -> None:
    said = "weeks:\n- songs: {sleeper-train: 90-99}\n- songs: {bakers-lullaby: {tracks: ecco}}\n"
    (folder / "class.yaml").write_text(said, encoding="utf-8")
    ran = tercet("plan", folder)
    assert "week 1, sleeper-train: " in ran.err
    assert "week 2, bakers-lullaby: " in ran.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["-o", "plan.txt"], "plan.txt ends in .txt: a plan's name ends in .pdf"),
        ([ROOT / "songs"], "one class file is planned at a time"),
        (["--suggest", "-o", "a.pdf"], "--suggest prints an order of songs"),
        (["--paper", "A3"], "A3"),
    ],
)
def test_wrong_requests(folder: Path, tercet: Run, arguments: list[object], told: str) -> None:
    ran = tercet("plan", folder, *arguments)
    assert ran.code in (1, 2)
    assert told in ran.err


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (ROOT / "songs", "there is no class.yaml in"),
        (ROOT / "songs" / "sleeper-train.yaml", "isn't a class file: weeks are planned in class.yaml"),
        (ROOT / "nowhere", "there is no file"),
    ],
)
def test_what_is_no_class_file_is_told(given: Path, told: str, tercet: Run) -> None:
    ran = tercet("plan", given)
    assert (ran.code, ran.out) == (1, "")
    assert told in ran.err


def test_songs_are_ordered_from_easy_to_hard_and_it_is_said_why(tercet: Run) -> None:
    ran = tercet("plan", "--suggest", ROOT / "songs")
    assert ran.code == 0
    heads = [line for line in ran.out.splitlines() if line[0].isdigit()]
    assert [line.split(". ")[0] for line in heads] == list("12345")
    found = json.loads(tercet("plan", "--suggest", "--json", ROOT / "songs").out)
    costs = [each["hardness"]["cost"] for each in found]
    assert costs == sorted(costs)
    for head, each in zip(heads, found, strict=True):
        assert each["title"] in head
        assert each["why"] in ran.out
    reversed_order = sorted((ROOT / "songs").glob("*.yaml"), reverse=True)
    again = json.loads(tercet("plan", "--suggest", "--json", *reversed_order).out)
    assert [each["title"] for each in again] == [each["title"] for each in found]
