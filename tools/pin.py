"""Write ``constraints.txt``: the newest releases that fit pyproject.toml, pinned, for every Python it is used on.

The releases chosen for the oldest Python serve the newer ones too, as long as they have wheels for them; where
they don't, the newest that have are pinned beside them. ``make constraints`` runs this.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

__all__ = ["main", "pin_lines", "requirements", "resolve"]

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("3.11", "3.12", "3.13", "3.14", "3.15")
ONLY_ON_SOME_SYSTEMS = ("colorama",)  # pytest and click ask for it on Windows
HEAD = """\
# The exact release of everything that the set-up installs. Made by `make constraints`; don't edit.
"""


def main() -> int:
    """Resolve for each Python, with the pip of a clean environment, and write the file."""
    wanted = requirements()
    groups: list[tuple[str, dict[str, str]]] = []
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
        for version in PYTHONS:
            print(f"Python {version}", flush=True)
            same = [f"{name}=={pin}" for name, pin in groups[-1][1].items()] if groups else []
            if same and not isinstance(resolve(python, same, version, "--no-deps"), str):
                continue
            pins = resolve(python, wanted, version)
            if isinstance(pins, str):
                print(pins, file=sys.stderr)
                return 3
            groups.append((version, pins))
    (ROOT / "constraints.txt").write_text(HEAD + "\n".join(pin_lines(groups)) + "\n", encoding="utf-8")
    print(f"constraints.txt: {len(groups[0][1])} packages, for Python {PYTHONS[0]} to {PYTHONS[-1]}")
    return 0


def requirements() -> list[str]:
    """Return everything that the set-up asks for: to run, to work on it, and to build it."""
    table = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project = table["project"]
    return [
        *project["dependencies"],
        *(one for extra in project["optional-dependencies"].values() for one in extra),
        *table["build-system"]["requires"],
        *ONLY_ON_SOME_SYSTEMS,
    ]


def resolve(python: Path, wanted: list[str], version: str, *options: str) -> dict[str, str] | str:
    """Return name and release of all that would be installed on a version of Python, or pip's complaint.

    Nothing is installed, and only wheels count, so that a machine without compilers can follow.
    """
    if tuple(int(part) for part in version.split(".")) > sys.version_info[:2]:
        # pip holds a release against the Python that runs it, not the one that is asked about; the wheels decide.
        options = (*options, "--ignore-requires-python")
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [str(python), "-m", "pip", "install", "-qq", "--disable-pip-version-check", "--dry-run"]
        command += [
            "--ignore-installed",
            "--target",
            folder,
            "--only-binary=:all:",
            "--python-version",
            version,
        ]
        command += [*options, "--report", str(report), *wanted]
        done = subprocess.run(command, check=False, stderr=subprocess.PIPE, text=True)
        if done.returncode != 0:
            return f"Python {version}: {done.stderr}"
        installed = json.loads(report.read_text(encoding="utf-8"))["install"]
    return {_plain(one["metadata"]["name"]): one["metadata"]["version"] for one in installed}


def pin_lines(groups: list[tuple[str, dict[str, str]]]) -> list[str]:
    """Return the lines of the file; each group is the first Python that it is for, and its pins."""
    lines = []
    for name in sorted({name for _, pins in groups for name in pins}):
        versions = [pins.get(name) for _, pins in groups]
        if len(set(versions)) == 1:
            lines.append(f"{name}=={versions[0]}")
            continue
        starts = [start for start, _ in groups]
        for start, end, version in zip(starts, [*starts[1:], None], versions, strict=True):
            if version is None:
                continue
            bounds = [f'python_version >= "{start}"'] if start != starts[0] else []
            bounds += [f'python_version < "{end}"'] if end else []
            lines.append(f"{name}=={version} ; {' and '.join(bounds)}")
    return lines


def _plain(name: str) -> str:
    return name.lower().replace("_", "-").replace(".", "-")


if __name__ == "__main__":
    sys.exit(main())
