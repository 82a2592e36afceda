"""The page of the front door, worked through line by line: Python prints what it shows, and its files are there."""

from __future__ import annotations

import doctest
from pathlib import Path

import fluidsynth  # noqa: F401 - in CI it prints where it was found, when first imported: not into the page
import pytest
import soundfile

import tercet
from tests.worked_pages import TypedFile, steps_of

PAGE = Path(__file__).resolve().parent.parent / "docs" / "api.md"
ANY_LINES = "<any lines>"


def failures(page: str, monkeypatch: pytest.MonkeyPatch) -> int:
    """Work through a page here, and return how many examples print something else than it shows."""
    monkeypatch.setattr(doctest, "ELLIPSIS_MARKER", ANY_LINES)
    for step in steps_of(page):
        assert isinstance(step, TypedFile)
        Path(step.name).write_text(step.text, encoding="utf-8")
    code = page.replace("\n…\n", f"\n{ANY_LINES}\n")
    examples = doctest.DocTestParser().get_doctest(code, {}, PAGE.name, str(PAGE), 0)
    assert len(examples.examples) > 10
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    return runner.run(examples).failed


def test_the_page_does_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TERCET_SOUND", raising=False)
    page = PAGE.read_text(encoding="utf-8")
    assert failures(page, monkeypatch) == 0
    home, whole = soundfile.info("home.flac"), soundfile.info("echo.mp3")
    assert (home.samplerate, home.channels) == (48_000, 2)
    assert whole.duration > home.duration
    for name in ("sheet.pdf", "lantern.musicxml", "class/index.html"):
        assert Path(name).stat().st_size > 1_000


def test_a_page_that_says_what_is_not_so_is_caught(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    page = PAGE.read_text(encoding="utf-8").partition("## Its sound")[0].replace("'G minor'", "'F minor'")
    assert failures(page, monkeypatch) == 1


def test_the_page_names_what_there_is() -> None:
    page = PAGE.read_text(encoding="utf-8")
    verbs = [name for name in tercet.__all__ if name.islower() and not name.startswith("_")]
    missing = [name for name in verbs if name not in page]
    assert missing == ["handout", "make_track"]
