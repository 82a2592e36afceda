"""NOTICES.md names everything that is needed, with the licence that its own files state."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
NOTICES = (ROOT / "NOTICES.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ONLY_ON_SOME = {"importlib-metadata", "lazy-importer", "zipp"}
"""Needed on old Pythons alone."""

TEXTS = {
    "MIT": "Permission is hereby granted, free of charge",
    "BSD-3-Clause": "Neither the name",
    "BSD-2-Clause": "Redistributions in binary form must reproduce",
    "Apache-2.0": "Apache License",
    "PSF-2.0": "PYTHON SOFTWARE FOUNDATION LICENSE VERSION 2",
    "LGPL-2.1-or-later": "GNU LESSER GENERAL PUBLIC LICENSE\n                       Version 2.1",
    "LGPL-3.0-or-later": "GNU LESSER GENERAL PUBLIC LICENSE\n                       Version 3",
    "OFL-1.1": "SIL OPEN FONT LICENSE Version 1.1",
}
"""What the text of a licence holds, for packages whose metadata has no SPDX expression, or a wrong one."""

WRONG_METADATA = {"pyfluidsynth"}


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def needed(requirements: list[str]) -> set[str]:
    """Return all packages that these need, and what those need, on this Python."""
    found: set[str] = set()
    waiting = [(Requirement(text), "") for text in requirements]
    while waiting:
        requirement, extra = waiting.pop()
        if requirement.marker and not requirement.marker.evaluate({"extra": extra}):
            continue
        name = plain(requirement.name)
        if name not in found:
            found.add(name)
            waiting += [(Requirement(text), "") for text in metadata.requires(name) or ()]
    return found


def rows(heading: str) -> dict[str, str]:
    """Return name and licence of each row under a heading."""
    section = NOTICES.partition(f"## {heading}")[2].partition("\n## ")[0]
    return {
        row[0]: row[1]
        for row in re.findall(r"^\| ([^|]+?) \| [^|]+ \| ([^|]+?) \|$", section, re.MULTILINE)[1:]
    }


NEEDED = rows("Needed to run")
CLUSTER, CJK = rows("With the extra `cluster`"), rows("With the extra `cjk`")
FILM = rows("With the extra `film`")


def test_everything_that_is_needed_is_named_and_nothing_else() -> None:
    run = needed(PROJECT["dependencies"])
    assert set(NEEDED) == run
    cluster = needed(PROJECT["optional-dependencies"]["cluster"]) - run
    assert set(CLUSTER) - ONLY_ON_SOME == cluster - ONLY_ON_SOME
    assert set(CJK) == needed(PROJECT["optional-dependencies"]["cjk"])
    assert set(FILM) == needed(PROJECT["optional-dependencies"]["film"])


@pytest.mark.parametrize(
    ("name", "licence"), [*NEEDED.items(), *CLUSTER.items(), *CJK.items(), *FILM.items()]
)
def test_a_licence_is_the_one_that_its_files_state(name: str, licence: str) -> None:
    try:
        found = metadata.distribution(name)
    except metadata.PackageNotFoundError:
        assert name in ONLY_ON_SOME
        return
    stated = next(iter(found.metadata.get_all("License-Expression", ())), None)
    if stated is not None and name not in WRONG_METADATA:
        assert licence == stated
        return
    files = [
        Path(str(found.locate_file(file)))
        for file in found.files or ()
        if re.search(r"licen|copying", file.name, re.IGNORECASE) and ".dist-info" in str(file)
    ]
    text = "\n".join(file.read_text(encoding="utf-8", errors="replace") for file in files)
    assert re.sub(r"\s+", " ", TEXTS[licence]) in re.sub(r"\s+", " ", text)
    if licence == "BSD-2-Clause":
        assert TEXTS["BSD-3-Clause"] not in text


@pytest.mark.parametrize("name", [plain(Requirement(text).name) for text in PROJECT["dependencies"]])
def test_the_licence_beside_a_dependency_is_that_of_the_notices(name: str) -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8").partition("\ndependencies = [")[2]
    above = ""
    for comment, dependency in re.findall(r"((?:^ *#.*\n)*)^ *\"([\w.-]+)", text, re.MULTILINE):
        above = comment or above  # some stand under one comment
        if plain(dependency) == name:
            break
    assert NEEDED[name] in re.sub(r"\s*# *|\s+", " ", above)
