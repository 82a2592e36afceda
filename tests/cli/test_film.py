"""``tercet film``: what the command says and leaves; the films themselves are measured in tests/kit/test_films.py."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran
from tests.measure.films import film_facts

Run = Callable[..., Ran]


def test_a_film_is_made_of_the_track_that_is_asked_for(song: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "out" / "kettles.mp4"
    ran = tercet(
        "film", song, "-o", path, "--without", "melody", "--bars", "1-2", "--square", "--progress", "json"
    )
    assert ran.code == 0
    told = [json.loads(line) for line in ran.err.splitlines()]
    made = next(event for event in told if event["kind"] == "made")
    assert made["track"] == "without-melody"
    assert made["size_bytes"] == path.stat().st_size
    facts = film_facts(path)
    assert (facts.width, facts.height) == (1080, 1080)
    assert facts.metadata["title"] == "Two Kettles (without melody)"
    assert [entry.name for entry in path.parent.iterdir()] == ["kettles.mp4"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("-o", "kettles.avi"), "a film's name ends in .mp4"),
        (("-o", "kettles.mp4", "--size", "sqare"), "--size must be wide or square (got sqare)"),
        (("-o", "kettles.mp4", "--track", "demmo"), "demo"),
        (("-o", "kettles.mp4", "--track", "demo", "--only", "melody"), "already chooses the layers"),
    ],
)
def test_what_can_t_be_filmed_is_said(
    song: Path,
    tmp_path: Path,
    tercet: Run,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = tercet("film", song, *arguments)
    assert ran.code in (1, 2)
    assert said in ran.err
    assert [path.name for path in tmp_path.iterdir()] == [song.name]
