"""What a user gets: a wheel that holds all it needs, installed where there is no checkout."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from tercet.desk.serving import FIRST_SONG
from tools import set_up

ROOT = Path(__file__).resolve().parent.parent
SOURCES = ROOT / "render"


@dataclass(frozen=True, slots=True)
class Installed:
    """A virtual environment that has the wheel, and a folder to work in."""

    wheel: Path
    bin: Path
    folder: Path

    def run(self, *arguments: object) -> subprocess.CompletedProcess[str]:
        """Run a program of the environment. Other packages are those of the tests, but none that a .pth file names."""
        kept = {name: text for name, text in os.environ.items() if not name.startswith(("PYTHON", "TERCET"))}
        program, *others = map(str, arguments)
        return subprocess.run(
            [self.bin / program, *others],
            cwd=self.folder,
            env={**kept, "PYTHONPATH": sysconfig.get_path("purelib")},
            capture_output=True,
            text=True,
            check=False,
        )


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("package")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    place = folder / "environment"
    venv.create(place, with_pip=False)
    programs = place / ("Scripts" if os.name == "nt" else "bin")
    pip = [sys.executable, "-m", "pip", "--python", str(programs / "python"), "install", "-qq"]
    subprocess.run([*pip, "--no-deps", "--no-index", str(wheel)], check=True)
    work = folder / "work"
    work.mkdir()
    shutil.copy(ROOT / "songs" / "harbour-lanterns.yaml", work)
    return Installed(wheel, programs, work)


def test_the_wheel_holds_the_package_and_nothing_else(installed: Installed) -> None:
    with zipfile.ZipFile(installed.wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
        said = [name for name in archive.namelist() if ".dist-info/" in name]
    ours = {
        path.relative_to(SOURCES).as_posix()
        for path in SOURCES.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert held == ours | {f"tercet/desk/{FIRST_SONG}"}
    assert {"tercet/py.typed", "tercet/song/song.schema.json", "tercet/song/class.schema.json"} <= held
    assert {name.rpartition("/")[2] for name in said} >= {
        "LICENSE",
        "NOTICES.md",
        "METADATA",
        "entry_points.txt",
    }


def test_it_says_no_address_that_it_does_not_have(installed: Installed) -> None:
    with zipfile.ZipFile(installed.wheel) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith("/METADATA"))
        head = archive.read(name).decode("utf-8").partition("\n\n")[0]
    assert "Project-URL" not in head
    assert "Home-page" not in head
    assert "License-Expression: MIT" in head


def test_it_is_the_wheel_that_runs(installed: Installed) -> None:
    found = installed.run("python", "-c", "import tercet; print(tercet.__file__)")
    assert Path(found.stdout.strip()).is_relative_to(installed.bin.parent), found
    assert not Path(found.stdout.strip()).is_relative_to(ROOT)


@pytest.mark.parametrize(
    "arguments",
    [
        "check harbour-lanterns.yaml",
        "advise harbour-lanterns.yaml",
        "export harbour-lanterns.yaml -o lanterns.musicxml",
        "export harbour-lanterns.yaml -o lanterns.mid",
        "sheet harbour-lanterns.yaml -o lanterns.pdf",
        "sheet harbour-lanterns.yaml -o hand.png --handout",
        "fretboard harbour-lanterns.yaml -o neck.svg",
        "render harbour-lanterns.yaml -o lanterns.wav --bars 1-2",
        "page harbour-lanterns.yaml -o class --no-kit --speeds 100%",
        "new first.yaml",
    ],
)
def test_commands_run_without_the_checkout(installed: Installed, arguments: str) -> None:
    words = arguments.split()
    done = installed.run("tercet", *words)
    assert done.returncode == 0, done.stderr
    if "-o" in words:
        made = Path(words[words.index("-o") + 1])
        assert list(installed.folder.glob(f"{made.stem}*{made.suffix}"))


def test_an_editor_finds_the_schemas(installed: Installed) -> None:
    done = installed.run("tercet", "check", "--schema")
    assert done.returncode == 0, done.stderr
    told = dict(line.split(": ", 1) for line in done.stdout.splitlines())
    assert set(told) == {"songs", "class files"}
    for path in told.values():
        assert Path(path).is_relative_to(installed.bin.parent)
        assert json.loads(Path(path).read_text(encoding="utf-8"))["$schema"].endswith("2020-12/schema")


def test_the_wheel_alone_makes_a_song_s_page(installed: Installed, tmp_path: Path) -> None:
    """As a user installs it: the wheel and what it needs to run, nothing of the tests; then the demo is made."""
    pins = tmp_path / "pins.txt"
    pins.write_text(
        set_up.pins_for((ROOT / "constraints.txt").read_text(encoding="utf-8"), "run"), encoding="utf-8"
    )
    place = tmp_path / "environment"
    venv.create(place, with_pip=False)
    programs = place / ("Scripts" if os.name == "nt" else "bin")
    pip = [sys.executable, "-m", "pip", "--python", str(programs / "python"), "install", "-qq"]
    pip += ["--no-deps", "--no-compile"]  # what is never imported needn't be compiled
    subprocess.run([*pip, "--require-hashes", "--only-binary", ":all:", "-r", str(pins)], check=True)
    subprocess.run([*pip, "--no-index", str(installed.wheel)], check=True)
    kept = {name: text for name, text in os.environ.items() if not name.startswith(("PYTHON", "TERCET"))}
    song = shutil.copy(ROOT / "songs" / "bakers-lullaby.yaml", tmp_path)
    done = subprocess.run(
        [programs / "tercet", "page", song, "-o", "demo", "--no-kit", "--speeds", "100%"],
        cwd=tmp_path,
        env={**kept, "TERCET_CACHE": str(tmp_path / "cache")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    page = tmp_path / "demo" / "bakers-lullaby" / "index.html"
    assert "Lullaby" in page.read_text(encoding="utf-8")
    stems = [path.stat().st_size for path in page.parent.glob("page/*.js")]
    assert max(stems) > 50_000
