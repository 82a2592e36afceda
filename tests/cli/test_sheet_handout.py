"""``tercet sheet --handout``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.publish import typefaces
from tests.cli.conftest import Ran
from tests.measure.diagrams import diagrams_of, seen
from tests.measure.handouts import strokes_of, verses_of
from tests.measure.picture import size_of_png, words_of

Run = Callable[..., Ran]

LONG = "songs/harbour-lanterns.yaml"


def test_a_short_song_is_one_picture(song: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "new" / "kettles.svg"
    made = tercet("sheet", song, "--handout", "-o", path)
    assert (made.code, made.out, made.err) == (0, f"{path}\n", "")
    svg = path.read_text(encoding="utf-8")
    assert words_of(svg, "title") == ["Two Kettles"]
    assert verses_of(svg) == [["Hot", "wa-", "ter", "sings,", "two", "songs."]]
    assert strokes_of(svg)


def test_a_long_song_is_several_numbered_pictures(tmp_path: Path, tercet: Run) -> None:
    made = tercet("sheet", LONG, "--handout", "-o", tmp_path / "lanterns.png")
    paths = [tmp_path / f"lanterns-{number}.png" for number in (1, 2, 3)]
    assert made.out.split() == [str(path) for path in paths]
    assert sorted(tmp_path.iterdir()) == paths
    assert {size_of_png(path.read_bytes()) for path in paths} == {(3840, 2160)}


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_same_song_gives_the_same_bytes(song: Path, tmp_path: Path, tercet: Run, ending: str) -> None:
    first, second = (tmp_path / f"{name}.{ending}" for name in ("first", "second"))
    assert tercet("sheet", song, "--handout", "-o", first).code == 0
    assert tercet("sheet", song, "--handout", "-o", second).code == 0
    assert first.read_bytes() == second.read_bytes()


def test_another_key_tuning_and_hand(song: Path, tmp_path: Path, tercet: Run) -> None:
    right, left = tmp_path / "right.svg", tmp_path / "left.svg"
    options = ("--handout", "--tuning", "baritone", "--transpose", "-5")
    assert tercet("sheet", song, *options, "-o", right).code == 0
    assert tercet("sheet", song, *options, "--left-handed", "-o", left).code == 0
    shown = [
        [seen(each).frets for each in diagrams_of(path.read_text(encoding="utf-8"))] for path in (right, left)
    ]
    assert shown[0] == [frets[::-1] for frets in shown[1]]
    assert words_of(right.read_text(encoding="utf-8"), "facts") == ["G major · 3/4 · baritone"]


@pytest.mark.parametrize(
    ("name", "code", "message"),
    [
        ("sheet.jpg", 1, "ends in .jpg"),
        ("two-kettles.yaml", 1, "ends in .yaml"),
        ("two-kettles.yaml/a.svg", 3, "path"),
    ],
)
def test_what_can_not_be_written_is_told(
    song: Path, tmp_path: Path, tercet: Run, name: str, code: int, message: str
) -> None:
    before = sorted(tmp_path.iterdir()), song.read_bytes()
    refused = tercet("sheet", song, "--handout", "-o", tmp_path / name)
    assert (refused.code, refused.out) == (code, "")
    assert message in refused.err
    assert (sorted(tmp_path.iterdir()), song.read_bytes()) == before


def test_one_picture_in_the_way_stops_all(tmp_path: Path, tercet: Run) -> None:
    (tmp_path / "lanterns-2.png").mkdir()
    refused = tercet("sheet", LONG, "--handout", "-o", tmp_path / "lanterns.png")
    assert refused.code == 1
    assert "lanterns-2.png is a folder" in refused.err
    assert [path.name for path in tmp_path.iterdir()] == ["lanterns-2.png"]


def test_a_song_with_mistakes_is_told(song: Path, tmp_path: Path, tercet: Run) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("B4:2 A ", "B4:3 A "), encoding="utf-8")
    refused = tercet("sheet", song, "--handout", "-o", tmp_path / "sheet.png")
    assert refused.code == 1
    assert "too long" in refused.err


def test_signs_that_no_font_has_are_told(
    song: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("songs.", "歌"), encoding="utf-8")
    assert tercet("sheet", song, "--handout", "-o", tmp_path / "sheet.svg").err == ""
    monkeypatch.setattr(typefaces, "FAMILIES", typefaces.FAMILIES[:1])
    made = tercet("sheet", song, "--handout", "-o", tmp_path / "sheet.svg")
    assert made.code == 0
    assert "no font here has 歌: they are drawn as boxes" in made.err
    assert 'pip install "tercet[cjk]"' in made.err
