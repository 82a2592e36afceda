"""``tercet fretboard``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran
from tests.measure.necks import marks_on_neck, neck_frets
from tests.measure.papers import loose_fonts, pages_text, sizes_pt
from tests.measure.picture import size_of_png, words_of

Run = Callable[..., Ran]


def test_a_song_is_mapped_in_its_key_and_tuning(song: Path, tmp_path: Path, tercet: Run) -> None:
    made = tercet("fretboard", song, "-o", tmp_path / "neck.svg")
    assert (made.code, made.out, made.err) == (0, f"{tmp_path / 'neck.svg'}\n", "")
    svg = (tmp_path / "neck.svg").read_text(encoding="utf-8")
    assert words_of(svg, "title") == ["Two Kettles"]
    assert words_of(svg, "facts") == ["C major · high-g: G4 C4 E4 A4"]
    assert {mark.name for mark in marks_on_neck(svg) if mark.degree} == {"G", "A", "B"}


def test_options_win_over_the_song(song: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "neck.svg"
    options = ("--key", "G", "--tuning", "baritone", "--frets", "15", "--left-handed")
    assert tercet("fretboard", song, "-o", path, *options).code == 0
    svg = path.read_text(encoding="utf-8")
    assert words_of(svg, "facts") == ["G major · baritone: D3 G3 B3 E4"]
    assert len(neck_frets(svg)) == 16
    assert neck_frets(svg)[0] > neck_frets(svg)[-1]
    assert {mark.degree for mark in marks_on_neck(svg) if mark.name == "G" and mark.degree} == {"1"}


def test_a_key_alone(tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "neck.svg"
    assert tercet("fretboard", "-o", path, "--key", "A minor", "--tuning", "A4,D4,F#4,B4").code == 0
    svg = path.read_text(encoding="utf-8")
    assert words_of(svg, "title") == ["A minor"]
    assert words_of(svg, "facts") == ["A4 D4 F#4 B4"]
    assert all(mark.degree for mark in marks_on_neck(svg))


def test_blank_with_and_without_notes_to_find(tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "neck.svg"
    assert tercet("fretboard", "-o", path, "--blank").code == 0
    assert marks_on_neck(path.read_text(encoding="utf-8")) == []
    assert tercet("fretboard", "-o", path, "--blank", "--key", "F").code == 0
    assert {mark.name for mark in marks_on_neck(path.read_text(encoding="utf-8"))} == {""}


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_same_request_gives_the_same_bytes(song: Path, tmp_path: Path, tercet: Run, ending: str) -> None:
    first, second = (tmp_path / f"{name}.{ending}" for name in ("first", "second"))
    assert tercet("fretboard", song, "-o", first).code == 0
    assert tercet("fretboard", song, "-o", second).code == 0
    assert first.read_bytes() == second.read_bytes()
    if ending == "png":
        assert size_of_png(first.read_bytes()) == (3200, 1380)


@pytest.mark.parametrize(("paper", "size"), [("a4", (841.89, 595.28)), ("letter", (792.0, 612.0))])
def test_a_pdf_is_a_page_on_its_side(
    song: Path, tmp_path: Path, tercet: Run, paper: str, size: tuple[float, float]
) -> None:
    path = tmp_path / "neck.pdf"
    assert tercet("fretboard", song, "-o", path, "--paper", paper).code == 0
    assert sizes_pt(path.read_bytes()) == [size]
    assert loose_fonts(path.read_bytes()) == []
    assert "Two Kettles" in pages_text(path.read_bytes())[0]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ((), "which notes? Name a SONG"),
        (("--key", "H minor"), "a key must be a note and major or minor"),
        (("--key", "G# major"), "at most seven sharps or flats"),
        (("--key", "C", "--frets", "2"), "--frets must be 3 to 18 (got 2)"),
        (("--key", "C", "--tuning", "low-f"), "there is no tuning low-f; did you mean low-g?"),
        (("--key", "C", "--tuning", "high-g,low-g"), "one tuning"),
    ],
)
def test_what_can_not_be_drawn_is_told(
    tmp_path: Path, tercet: Run, options: tuple[str, ...], message: str
) -> None:
    refused = tercet("fretboard", "-o", tmp_path / "neck.svg", *options)
    assert (refused.code, refused.out) == (
        2 if {"--tuning", "major", "minor"} & {*" ".join(options).split()} else 1,
        "",
    )
    assert message in refused.err
    assert not (tmp_path / "neck.svg").exists()


def test_wrong_usage_and_wrong_endings(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("fretboard", song).code == 2
    refused = tercet("fretboard", song, "-o", tmp_path / "neck.jpg")
    assert refused.code == 1
    assert "ends in .jpg: a picture's name ends in .svg, .png or .pdf, such as neck.svg" in refused.err
    refused = tercet("fretboard", song, "-o", song)
    assert refused.code == 1
    assert tercet("fretboard", tmp_path / "no.yaml", "-o", tmp_path / "neck.svg").code != 0


def test_a_neck_too_short_for_the_tune_is_told(song: Path, tmp_path: Path, tercet: Run) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("| G4:3", "| G5:3"), encoding="utf-8")
    made = tercet("fretboard", song, "-o", tmp_path / "neck.svg", "--frets", "5")
    assert made.code == 0
    assert "with --frets 5 a part of it isn't shown" in made.err
