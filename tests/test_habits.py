"""What newcomers and the host of the code go by says what is so: the checks, the templates, the versions."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

from ruamel.yaml import YAML

import tercet

ROOT = Path(__file__).resolve().parent.parent
MAKEFILE = (ROOT / "Makefile").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def needed_by(target: str) -> list[str]:
    """Return what a target of the Makefile is made of."""
    found = re.search(rf"^{target}: ((?:[a-z-]+ ?)+)## ", MAKEFILE, re.MULTILINE)
    assert found, target
    return found[1].split()


def test_what_runs_before_a_commit_and_a_push_is_the_whole_check() -> None:
    path = ROOT / ".pre-commit-config.yaml"
    known = [sys.executable, "-m", "pre_commit", "validate-config", str(path)]
    assert subprocess.run(known, check=False, capture_output=True).returncode == 0
    (repository,) = YAML(typ="safe").load(path)["repos"]
    assert repository["repo"] == "local"
    run = {hook["entry"]: hook["stages"] for hook in repository["hooks"]}
    assert run == {
        **{f"make {part}": ["pre-commit"] for part in needed_by("static")},
        "make test cover=yes": ["pre-push"],
    }
    assert needed_by("check") == ["static", "test"]


def test_every_python_and_system_is_checked() -> None:
    jobs = YAML(typ="safe").load(ROOT / ".github" / "workflows" / "check.yml")["jobs"]
    oldest = PROJECT["requires-python"].removeprefix(">=")
    whole, systems = jobs["whole"], jobs["systems"]
    assert whole["strategy"]["matrix"]["python"] == [oldest, "3.12", "3.13", "3.14"]
    assert {"run": ".ci/run"} in whole["steps"]
    tried = systems["strategy"]["matrix"]
    assert tried["system"] == ["macos-latest", "windows-latest"]
    assert (tried["python"][0], tried["python"][-1]) == (oldest, "3.14")
    commands = [step["run"] for step in systems["steps"] if "run" in step]
    assert commands[0] == "python tools/set_up.py dev"
    assert all(command.endswith("python -m pytest -n 3 --dist worksteal") for command in commands[1:])


def test_only_the_pythons_that_ran_are_claimed() -> None:
    claimed = [one for one in PROJECT["classifiers"] if re.search(r":: \d+\.\d+$", one)]
    assert claimed == ["Programming Language :: Python :: 3.11"]
    assert "Operating System :: OS Independent" not in PROJECT["classifiers"]


def test_the_newest_version_is_dated_and_is_the_package_s() -> None:
    log = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    releases = re.findall(r"^## \[(\d+\.\d+\.\d+)\] - \d{4}-\d{2}-\d{2}$", log, re.MULTILINE)
    assert releases[0] == tercet.__version__


def test_the_templates_for_issues_ask_for_something() -> None:
    for path in (ROOT / ".github" / "ISSUE_TEMPLATE").glob("*.yml"):
        form = YAML(typ="safe").load(path)
        if path.stem == "config":
            continue
        assert form["name"]
        assert form["description"]
        assert any(part["validations"]["required"] for part in form["body"] if "validations" in part)


def test_the_map_is_short_and_every_room_says_what_lives_in_it() -> None:
    package = ROOT / "render" / "tercet"
    assert len((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()) <= 100
    rooms = {path.parent for path in package.rglob("*.py")} - {package}
    assert len(rooms) > 12
    for room in rooms:
        lines = (room / "README.md").read_text(encoding="utf-8").splitlines()
        assert 8 <= len(lines) <= 40, room
        said = "\n".join(lines)
        for module in room.glob("*.py"):
            assert module.stem == "__init__" or f"{module.stem}.py" in said or module.stem in said, module
