"""Which sets of a kit may be asked for, and what is said about them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from render.cli.options import one_tuning_of, tunings_of
from render.errors import RequestError
from tests.cli.conftest import Ran

Run = Callable[..., Ran]

PINNED = """\
title: Two Spoons
key: C
meter: 3/4
sections:
  verse: |
    chords   C            | G7
    melody   C5:3[4321]   | B4:3
"""


def folders(path: Path) -> list[str]:
    return sorted(str(one.relative_to(path)) for one in path.rglob("*") if one.is_dir())


def test_four_notes_are_a_tuning_beside_names(song: Path, tmp_path: Path, tercet: Run) -> None:
    made = tmp_path / "out"
    ran = tercet("kit", song, "-o", made, "--tuning", "low-g,A4,D4,F#4,B4", "--tracks", "demo")
    assert ran.code == 0
    assert folders(made) == ["two-kettles", "two-kettles/a4-d4-fs4-b4", "two-kettles/low-g"]


def test_a_set_that_is_asked_for_twice_is_made_once(song: Path, tmp_path: Path, tercet: Run) -> None:
    made = tmp_path / "out"
    ran = tercet(
        "kit", song, "-o", made, "--players", "free,free", "--tuning", "low-g,low-g", "--tracks", "demo"
    )
    assert ran.code == 0
    assert folders(made) == ["two-kettles"]


def test_what_goes_lower_and_what_is_dropped_is_said_for_its_set(tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "two-spoons.yaml"
    path.write_text(PINNED, encoding="utf-8")
    ran = tercet("kit", path, "-o", tmp_path / "out", "--tuning", "high-g,baritone", "--tracks", "demo")
    assert ran.code == 0
    assert "baritone: the tune is an octave lower" in ran.err
    assert "pins are for the song as written and were dropped for baritone" in ran.err
    assert "high-g:" not in ran.err


def test_problems_name_their_set(tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "low.yaml"
    path.write_text(PINNED.replace("C5:3[4321]", "A3:3"), encoding="utf-8")
    ran = tercet("kit", path, "-o", tmp_path / "out", "--tuning", "high-g,low-g", "--tracks", "demo")
    assert ran.code == 0
    assert "high-g, bar 1 (verse): A3 (220 Hz) lies below the lowest string" in ran.err
    assert "low-g, bar 1" not in ran.err


@pytest.mark.parametrize(
    ("asked", "code", "says"),
    [
        (("--tuning", "high-g,drop-d"), 1, "--tuning: "),
        (("--tuning", "A4,D4,F#4"), 1, "four"),
        (("--players", "beginner,expert"), 2, "players must be beginner, improving, free (got 'expert')"),
        (("--players", ""), 2, "must name at least one"),
    ],
)
def test_what_is_no_set_is_refused(
    asked: tuple[str, str], code: int, says: str, song: Path, tmp_path: Path, tercet: Run
) -> None:
    ran = tercet("kit", song, "-o", tmp_path / "out", *asked)
    assert ran.code == code
    assert says in ran.err
    assert not (tmp_path / "out").exists()


def test_one_track_is_in_one_tuning(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("render", song, "-o", tmp_path / "x.wav", "--tuning", "high-g,low-g")
    assert ran.code == 1
    assert "`tercet kit` makes a set for each" in ran.err


def test_render_for_other_players(song: Path, tmp_path: Path, tercet: Run) -> None:
    for players in ("beginner", "free"):
        assert tercet("render", song, "-o", tmp_path / f"{players}.mid", "--players", players).code == 0
    assert tercet("render", song, "-o", tmp_path / "x.mid", "--players", "experts").code == 2


def test_tunings_are_read_in_order_each_once() -> None:
    found = tunings_of("low-g, A4,D4,F#4,B4, low-g,G4,C4,E4,A4")
    assert [tuning.name for tuning in found] == ["low-g", "custom", "high-g"]
    assert one_tuning_of("A4,D4,F#4,B4").name == "custom"
    with pytest.raises(RequestError, match="one track is in one tuning"):
        one_tuning_of("low-g,high-g")
