"""Every benchmark runs, for one short round, and none can time nothing without saying so."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "benchmarks"
PARTNERS = {"measuring", "seven_with_pretty_midi", "tracks_with_pretty_midi"}
"""What the others use, or time."""

NAMES = sorted(path.stem for path in FOLDER.glob("*.py") if path.stem not in PARTNERS)


def run_benchmark(name: str, *options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(FOLDER / f"{name}.py"), *options],
        cwd=ROOT,
        env={**os.environ, "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("name", NAMES)
def test_a_short_round_of_every_benchmark(name: str) -> None:
    done = run_benchmark(name, "--short")
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"\bmade: [1-9]", done.stdout), done.stdout


@pytest.mark.parametrize("name", NAMES)
def test_every_benchmark_is_described(name: str) -> None:
    assert f"`{name}.py`" in (FOLDER / "README.md").read_text("utf-8")


# What guards them


@pytest.fixture
def measuring(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(FOLDER))
    return import_module("measuring")


def writes(path: Path, text: str) -> list[object]:
    code = "import sys, pathlib; path = pathlib.Path(sys.argv[1]); path.parent.mkdir(exist_ok=True); "
    code += "path.write_text(sys.argv[2])"
    return [sys.executable, "-c", code, path, text]


def test_what_a_command_made_is_counted(measuring: ModuleType, tmp_path: Path) -> None:
    cost = measuring.run_anew(tmp_path / "out", *writes(tmp_path / "out" / "a.txt", "1234"))
    assert (cost.made.files, cost.made.total_bytes) == (1, 4)
    assert cost.worked_s > 0
    again = measuring.run(tmp_path / "out", *writes(tmp_path / "out" / "b.txt", "12345"))
    assert (again.made.files, again.made.total_bytes) == (1, 5)


@pytest.mark.parametrize("text", ["", None])
def test_a_command_that_makes_nothing_is_not_timed(
    measuring: ModuleType, tmp_path: Path, text: str | None
) -> None:
    idle = [sys.executable, "-c", ""]
    command = idle if text is None else writes(tmp_path / "out" / "a.txt", text)
    with pytest.raises(measuring.NothingMadeError, match="nothing was made"):
        measuring.run_anew(tmp_path / "out", *command)


def test_a_command_that_finds_all_made_is_not_timed_as_one_that_makes_it(
    measuring: ModuleType, tmp_path: Path
) -> None:
    (tmp_path / "a.txt").write_text("1234")
    with pytest.raises(measuring.NothingMadeError, match="nothing was made"):
        measuring.run(tmp_path, sys.executable, "-c", "")
    assert measuring.run_again(tmp_path, sys.executable, "-c", "").made.files == 0


@pytest.mark.parametrize("there", [True, False])
def test_a_complete_kit_is_one_that_stays_as_it_is(
    measuring: ModuleType, tmp_path: Path, there: bool
) -> None:
    if there:
        (tmp_path / "a.txt").write_text("1234")
    command = writes(tmp_path / "b.txt", "5") if there else [sys.executable, "-c", ""]
    with pytest.raises(measuring.NothingMadeError, match="complete kit"):
        measuring.run_again(tmp_path, *command)


def test_a_command_that_fails_ends_the_benchmark(measuring: ModuleType, tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match="out of strings"):
        measuring.run(tmp_path, sys.executable, "-c", "raise SystemExit('out of strings')")


def test_no_things_are_nothing(measuring: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    assert measuring.counted("notes", 3) == 3
    assert capsys.readouterr().out == "  made: 3 notes\n"
    with pytest.raises(measuring.NothingMadeError, match="no notes"):
        measuring.counted("notes", 0)


def test_an_aim_that_is_missed_counts_unless_the_round_is_short(measuring: ModuleType) -> None:
    for judged, code in ((True, 1), (False, 0)):
        aims = measuring.Aims(judged=judged)
        aims.say("kept", 1.0, most=2.0)
        assert aims.exit_code == 0
        aims.say("missed", 3.0, most=2.0)
        assert aims.exit_code == code
