"""Write ``constraints.txt``: the newest releases that fit pyproject.toml, with hashes, for every Python it is used on.

The releases chosen for the oldest Python serve the newer ones too, as long as they have wheels for them; where
they don't, the newest that have are pinned beside them. Every wheel of a release that such a Python can install, on any
system, has its hash there, so that nothing else can be installed in its place. ``make constraints`` runs this;
``--keep`` leaves the releases as they are.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import tomllib
import urllib.request
import venv
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Pin", "fits", "main", "needed", "pin_lines", "pinned_text", "requirements", "resolve"]

ROOT = Path(__file__).resolve().parent.parent
CONSTRAINTS = ROOT / "constraints.txt"
PYTHONS = ("3.11", "3.12", "3.13", "3.14", "3.15")
ONLY_ON_SOME_SYSTEMS = ("colorama",)  # pytest and click ask for it on Windows
WITH_SOURCE = ("pychord",)  # packages whose source the set-up fetches too
HEAD = """\
# The exact release of everything that the set-up installs, and the hashes of its files. Made by `make constraints`;
# don't edit.
"""
TO_RUN, TO_WORK = "# To run Tercet.", "# To work on it, and for its extras."
INDEX = "from pip._internal.models.index import PyPI; print(PyPI.simple_url)"
LISTING = "application/vnd.pypi.simple.v1+json"


@dataclass(frozen=True, slots=True)
class Pin:
    """A release, and what it asks for, as its metadata says."""

    release: str
    requires: tuple[str, ...] = ()


Pins = dict[str, Pin]


def main(arguments: list[str] | None = None) -> int:
    """Resolve for each Python, with the pip of a clean environment, and write the file."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--keep", action="store_true", help="keep the releases; only find their hashes again")
    keep = parser.parse_args(arguments).keep
    groups: list[tuple[str, Pins]] = []
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
        for version in PYTHONS:
            print(f"Python {version}", flush=True)
            pins = _kept(python, version) if keep else _chosen(python, version, groups)
            if isinstance(pins, str):
                print(pins, file=sys.stderr)
                return 3
            groups.append((version, pins))
        index = _index(python)
    to_run = needed(groups[0][1], requirements(extras=False))
    hashes = _all_hashes(index, groups)
    CONSTRAINTS.write_text(pinned_text(groups, to_run, hashes), encoding="utf-8")
    print(f"constraints.txt: {len(groups[0][1])} packages, for Python {PYTHONS[0]} to {PYTHONS[-1]}")
    return 0


def requirements(*, extras: bool = True) -> list[str]:
    """Return everything that the set-up asks for: to run and to build it, and with `extras` to work on it."""
    table = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    project = table["project"]
    more = [one for extra in project["optional-dependencies"].values() for one in extra]
    return [
        *project["dependencies"],
        *table["build-system"]["requires"],
        *([*more, *ONLY_ON_SOME_SYSTEMS] if extras else []),
    ]


def _chosen(python: Path, version: str, groups: list[tuple[str, Pins]]) -> Pins | str:
    """Return the pins of the Python before where they will do, else the newest releases; or pip's complaint."""
    if groups:
        before = groups[-1][1]
        same = [f"{name}=={pin.release}" for name, pin in before.items()]
        if not isinstance(resolve(python, same, version, "--no-deps"), str):
            return before
    return resolve(python, requirements(), version)


def _kept(python: Path, version: str) -> Pins | str:
    """Return the pins as the file has them; or pip's complaint."""
    pins = re.findall(
        r"^([a-z0-9-]+)==([^\s;]+)(?: ; ([^\\\n]+))?", CONSTRAINTS.read_text("utf-8"), re.MULTILINE
    )
    kept = {name: Pin(release) for name, release, marker in pins if _holds(marker, version)}
    if version != PYTHONS[0]:
        return kept
    # What they need is asked once, to tell what is there to run from the rest.
    return resolve(python, [f"{name}=={pin.release}" for name, pin in kept.items()], version, "--no-deps")


def _holds(marker: str, version: str) -> bool:
    """Return whether a marker of `pin_lines` is for a Python."""

    def number(text: str) -> tuple[int, ...]:
        return tuple(int(part) for part in text.split("."))

    bounds = re.findall(r'(<|>=) "([\d.]+)"', marker)
    return all((number(version) < number(end)) == (sign == "<") for sign, end in bounds)


def resolve(python: Path, wanted: list[str], version: str, *options: str) -> Pins | str:
    """Return all that would be installed on a version of Python, by name, or pip's complaint.

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
        installed = [one["metadata"] for one in json.loads(report.read_text(encoding="utf-8"))["install"]]
    return {
        _plain(one["name"]): Pin(_normal(one["version"]), tuple(one.get("requires_dist", ())))
        for one in installed
    }


def needed(pins: Pins, wanted: Iterable[str]) -> set[str]:
    """Return the names of what is asked for and of all that it needs, on whatever system, without extras."""
    found: set[str] = set()
    waiting = list(wanted)
    while waiting:
        name, marker = re.match(r"([\w.-]+)[^;]*;?(.*)", waiting.pop(), re.DOTALL).groups()  # type: ignore[union-attr]
        name = _plain(name)
        if name in pins and name not in found and "extra" not in marker:
            found.add(name)
            waiting += pins[name].requires
    return found


# ---- hashes


def _index(python: Path) -> str:
    """Return the address of the package index that pip uses."""
    own = [str(python), "-m", "pip", "config", "get", "global.index-url"]
    found = (
        os.environ.get("PIP_INDEX_URL")
        or subprocess.run(own, check=False, capture_output=True, text=True).stdout
    )
    if not found.strip():
        usual = [str(python), "-c", INDEX]
        found = subprocess.run(usual, check=True, capture_output=True, text=True).stdout
    return found.strip().rstrip("/")


def _all_hashes(index: str, groups: list[tuple[str, Pins]]) -> dict[tuple[str, str], list[str]]:
    """Return the hashes of every release that is pinned, by name and release."""
    releases = sorted({(name, pin.release) for _, pins in groups for name, pin in pins.items()})
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda one: _hashes(index, *one), releases))
    return dict(zip(releases, found, strict=True))


def _hashes(index: str, name: str, release: str) -> list[str]:
    """Return the hashes of a release's wheels, and of its source where that is fetched.

    Raises
    ------
    LookupError
        The index has none.
    """
    request = urllib.request.Request(f"{index}/{name}/", headers={"Accept": LISTING})  # noqa: S310 - pip's own
    with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310 - pip's own
        files = json.load(answer)["files"]
    found = {
        each["hashes"]["sha256"]
        for each in files
        if fits(each["filename"], release) or (name in WITH_SOURCE and _is_source(each["filename"], release))
    }
    if not found:
        raise LookupError(f"{index} has no wheel of {name} {release}")
    return sorted(found)


def fits(file: str, release: str) -> bool:
    """Return whether a file is a wheel of a release that one of our Pythons can install, on some system.

    >>> [fits(f"a-1.0-{tags}.whl", "1.0") for tags in ("py3-none-any", "cp310-cp310-x", "cp39-abi3-x", "cp312-cp312-x")]
    [True, False, True, True]
    """
    match = re.fullmatch(r"[^-]+-([^-]+)(?:-\d[^-]*)?-([^-]+)-([^-]+)-[^-]+\.whl", file)
    if match is None or not _same(match[1], release):
        return False
    pythons = {f"cp{version.replace('.', '')}" for version in PYTHONS}
    for tag in match[2].split("."):
        older = re.fullmatch(r"cp3(\d+)", tag) is not None and int(tag[3:]) <= int(PYTHONS[-1].split(".")[1])
        if tag.startswith("py3") or tag in pythons or (older and "abi3" in match[3].split(".")):
            return True
    return False


def _is_source(file: str, release: str) -> bool:
    match = re.fullmatch(r".+-([^-]+)\.tar\.gz", file)
    return match is not None and _same(match[1], release)


def _same(one: str, other: str) -> bool:
    return _normal(one) == _normal(other)


def _normal(release: str) -> str:
    """Return a release as files are named by it: a zero at the start of a number doesn't count."""
    return re.sub(r"(?<![^.])0+(?=\d)", "", release)


# ---- the file


def pinned_text(
    groups: list[tuple[str, Pins]], to_run: set[str], hashes: Mapping[tuple[str, str], list[str]]
) -> str:
    """Return the whole file: what is needed to run first."""
    run: list[str] = []
    work: list[str] = []
    for name, release, line in pin_lines(groups):
        told = "".join(f" \\\n    --hash=sha256:{one}" for one in hashes[name, release])
        (run if name in to_run else work).append(f"{line}{told}\n")
    return f"{HEAD}\n{TO_RUN}\n{''.join(run)}\n{TO_WORK}\n{''.join(work)}"


def pin_lines(groups: list[tuple[str, Pins]]) -> list[tuple[str, str, str]]:
    """Return name, release and line of each pin; each group is the first Python that it is for, and its pins."""
    lines = []
    for name in sorted({name for _, pins in groups for name in pins}):
        releases = [pins[name].release if name in pins else None for _, pins in groups]
        if releases[0] is not None and len(set(releases)) == 1:
            lines.append((name, releases[0], f"{name}=={releases[0]}"))
            continue
        starts = [start for start, _ in groups]
        runs: list[tuple[str | None, str]] = []
        for start, release in zip(starts, releases, strict=True):
            if not runs or runs[-1][0] != release:
                runs.append((release, start))
        for (release, start), (_, end) in zip(runs, [*runs[1:], (None, "")], strict=True):
            if release is None:
                continue
            bounds = [f'python_version >= "{start}"'] if start != starts[0] else []
            bounds += [f'python_version < "{end}"'] if end else []
            lines.append((name, release, f"{name}=={release} ; {' and '.join(bounds)}"))
    return lines


def _plain(name: str) -> str:
    return name.lower().replace("_", "-").replace(".", "-")


if __name__ == "__main__":
    sys.exit(main())
