"""What npm's tools make of sources and releases lies in the package: it must be what they make today."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BUNDLES = ROOT / "tools" / "bundles"
PAGE = ROOT / "render" / "tercet" / "publish" / "page"
EDITOR = ROOT / "render" / "tercet" / "desk" / "page" / "codemirror.js"


def sources_of(page: Path) -> dict[str, Path]:
    """Return the scripts and styles that pages are sent, by their names within the page's room."""
    paths = [*page.glob("*.js"), *page.glob("*.css"), *page.glob("player/*.js"), *page.glob("hearing/*.js")]
    return {path.relative_to(page).as_posix(): path for path in paths if path.name != "offline.js"}


def stale(page: Path) -> list[str]:
    """Return the names of sources that ``make player`` would make something else of, and of what it wouldn't make."""
    sources = sources_of(page)
    lean = {path.relative_to(page / "lean").as_posix() for path in (page / "lean").rglob("*.*")}
    found = sorted(lean ^ set(sources))
    for name in sorted(lean & set(sources)):
        digest = hashlib.sha256(sources[name].read_text(encoding="utf-8").encode()).hexdigest()
        first_line, *_ = (page / "lean" / name).read_text(encoding="utf-8").split("\n", 1)
        if digest not in first_line:
            found.append(name)
    return found


def test_pages_are_sent_what_their_sources_say() -> None:
    assert stale(PAGE) == [], "make player"


def test_a_source_that_changed_alone_is_found(tmp_path: Path) -> None:
    page = shutil.copytree(PAGE, tmp_path / "page")
    with (page / "player" / "3-player.js").open("a", encoding="utf-8") as source:
        source.write("/* changed */\n")
    (page / "player" / "1-ground.js").unlink()
    assert stale(page) == ["player/1-ground.js", "player/3-player.js"]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tools, installed by npm."""
    if not os.environ.get("CI") and shutil.which("npm") is None:
        pytest.skip("npm isn't here")
    folder = tmp_path_factory.mktemp("npm") / "bundles"
    shutil.copytree(BUNDLES, folder, ignore=shutil.ignore_patterns("node_modules"))
    run(folder, "npm", "ci", "--ignore-scripts", "--no-fund", "--no-audit")
    return folder


def run(folder: Path, *command: str) -> None:
    subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=300)


def test_the_editor_is_what_its_releases_make(installed: Path, tmp_path: Path) -> None:
    made = tmp_path / "codemirror.js"
    run(installed, "node", "editor.mjs", str(made))
    assert made.read_bytes() == EDITOR.read_bytes()
    lock = (installed / "package-lock.json").read_text(encoding="utf-8")
    assert '"resolved"' not in lock
    assert lock.count('"integrity"') >= 15


def test_what_pages_are_sent_is_what_their_sources_make(installed: Path, tmp_path: Path) -> None:
    made = tmp_path / "lean"
    run(installed, "node", "player.mjs", str(PAGE), str(made))
    for name in sources_of(PAGE):
        assert (made / name).read_bytes() == (PAGE / "lean" / name).read_bytes(), name
