"""Forty slips of the command line: the command as typed, what is said, the exit code, and the command to copy, run."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli.conftest import SMALL_SONG, Ran

Run = Callable[..., Ran]

LONGEST_SENTENCE = 200
SLIPS = Path(__file__).parent / "slips.txt"


@dataclass(frozen=True)
class Slip:
    """A command line with a slip, and what becomes of it."""

    typed: str
    code: int
    said: str
    written: str


def slips_of(text: str) -> list[Slip]:
    """Return the slips of the table: ``$ command``, what is said, perhaps ``write:``, and the exit code."""
    entry = re.compile(r"\$ tercet ?(.*)\n(.*)\n(?:    write:  (.*)\n)?\[(\d+)\]\n")
    return [Slip(match[1], int(match[4]), match[2], match[3] or "") for match in entry.finditer(text)]


TABLE = slips_of(SLIPS.read_text("utf-8"))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A teacher's folder: songs, one with a space in its name, a tune, a folder of songs, a picture of theirs."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "kettle.yaml").write_text(SMALL_SONG, "utf-8")
    (tmp_path / "My Song.yaml").write_text(SMALL_SONG.replace("Two Kettles", "My Song"), "utf-8")
    (tmp_path / "tune.abc").write_text("X:1\nT:A Tune\nM:3/4\nL:1/4\nK:C\nG A G|B2 A|G3|\n", "utf-8")
    (tmp_path / "songs").mkdir()
    (tmp_path / "songs" / "harbour.yaml").write_text(SMALL_SONG.replace("Two Kettles", "Harbour"), "utf-8")
    return tmp_path


def test_the_table_is_whole() -> None:
    assert len(TABLE) >= 40
    assert SLIPS.read_text("utf-8").count("$ tercet") == len(TABLE)
    assert len({slip.typed for slip in TABLE}) == len(TABLE)
    assert sum(bool(slip.written) for slip in TABLE) >= 30


@pytest.mark.parametrize("slip", TABLE, ids=lambda slip: slip.typed)
def test_a_slip_is_told_in_a_sentence_and_what_is_proposed_works(
    slip: Slip, folder: Path, tercet: Run
) -> None:
    before = sorted(path.name for path in folder.iterdir())
    ran = tercet(*shlex.split(slip.typed))
    written = f"    write:  {slip.written}\n" if slip.written else ""
    assert (ran.code, ran.out, ran.err) == (slip.code, "", f"{slip.said}\n{written}")
    assert len(slip.said) <= LONGEST_SENTENCE
    assert "usage:" not in ran.err
    assert sorted(path.name for path in folder.iterdir()) == before
    if slip.written:
        name, *words = shlex.split(slip.written)
        assert name == "tercet"
        again = tercet(*words)
        assert again.code == 0, again.err
