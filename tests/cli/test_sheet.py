"""``tercet sheet``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.publish import typefaces
from tests.cli.conftest import Ran
from tests.measure.papers import pages_text, sizes_pt
from tests.measure.sheets import bars_in_pdf, bars_shown, texts

Run = Callable[..., Ran]


def test_a_sheet_is_a_pdf_of_a4_pages(song: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "new" / "kettles.pdf"
    made = tercet("sheet", song, "-o", path)
    assert (made.code, made.out, made.err) == (0, f"{path}\n", "")
    pdf = path.read_bytes()
    assert sizes_pt(pdf) == [(595.28, 841.89)]
    assert sorted(bars_in_pdf(pdf)) == [1, 2, 3, 4, 5, 6]
    assert "Two Kettles" in pages_text(pdf)[0]


def test_letter_is_another_paper(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("sheet", song, "-o", tmp_path / "a.pdf", "--paper", "letter").code == 0
    assert sizes_pt((tmp_path / "a.pdf").read_bytes()) == [(612.0, 792.0)]


def test_an_svg_has_the_whole_song(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("sheet", song, "-o", tmp_path / "a.svg").code == 0
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert sorted(bars_shown(svg)) == [1, 2, 3, 4, 5, 6]
    assert texts(svg, "word") == ["Hot", "wa", "ter", "sings,", "two", "songs."]


def test_another_key_tuning_and_size(song: Path, tmp_path: Path, tercet: Run) -> None:
    options = ("--tuning", "baritone", "--transpose", "-5", "--large", "--left-handed")
    assert tercet("sheet", song, *options, "-o", tmp_path / "a.svg").code == 0
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "G major" in texts(svg, "fact")
    assert not texts(svg, "count")


def test_the_same_song_gives_the_same_bytes(song: Path, tmp_path: Path, tercet: Run) -> None:
    for name in ("a.pdf", "b.pdf"):
        assert tercet("sheet", song, "-o", tmp_path / name).code == 0
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (("-o", "sheet.jpg"), 1, "ends in .jpg: a sheet's name ends in .pdf or .svg, such as sheet.pdf"),
        (("-o", "sheet.png"), 1, "or say --handout for a picture"),
        (("-o", "a.pdf", "--paper", "A3"), 1, "--paper must be A4, Letter, A5 or Half-Letter (got A3)"),
        (("-o", "a.svg", "--handout", "--large"), 1, "leave --large, --paper and --words out"),
        (("-o", "."), 1, "ends in nothing"),
    ],
)
def test_what_can_not_be_done_is_told(
    song: Path,
    tmp_path: Path,
    tercet: Run,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    code: int,
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    refused = tercet("sheet", song, *arguments)
    assert (refused.code, refused.out) == (code, "")
    assert message in refused.err
    assert list(tmp_path.iterdir()) == [song]


def test_signs_that_no_font_has_are_told(
    song: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("songs.", "歌"), encoding="utf-8")
    assert tercet("sheet", song, "-o", tmp_path / "a.svg").err == ""
    monkeypatch.setattr(typefaces, "FAMILIES", typefaces.FAMILIES[:1])
    made = tercet("sheet", song, "-o", tmp_path / "a.svg")
    assert made.code == 0
    assert "no font here has 歌: they are drawn as boxes" in made.err
