"""A small song, and the command run inside this process with the built-in ukulele."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tercet.cli import main

SMALL_SONG = """\
title: Two Kettles
composer: Tercet example songs
licence: CC0-1.0
key: C major
meter: 3/4
tempo: 150
strum: d . d u d u
form: verse*2
sections:
  verse: |
    chords   C      | G7       | C
    melody   G4 A G | B4:2 A   | G4:3
    words    Hot wa- ter | sings, two | songs.
"""


@dataclass(frozen=True)
class Ran:
    """What a command left: its exit code, its results and its talk."""

    code: int
    out: str
    err: str


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "two-kettles.yaml"
    path.write_text(SMALL_SONG, encoding="utf-8")
    return path


@pytest.fixture
def tercet(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ran]:
    """Run ``tercet`` with these arguments; wrong usage gives code 2 as on a command line."""
    monkeypatch.setenv("TERCET_SOUND", "built-in")

    def run(*arguments: object) -> Ran:
        capsys.readouterr()
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as stopped:
            code = int(stopped.code or 0)
        printed = capsys.readouterr()
        return Ran(code, printed.out, printed.err)

    return run
