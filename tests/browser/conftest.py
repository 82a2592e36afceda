"""One browser and one class's pages for all tests of a process."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.windows import FLAGS, PROGRAM, Window, serving, window
from tests.kits import FONT, SHORT_SONG, run_tercet

TURNS = [
    {"whose": "count-in", "start_s": 0.0, "end_s": 0.4},
    {"whose": "listen", "start_s": 0.4, "end_s": 1.2, "step": "80%"},
    {"whose": "yours", "start_s": 1.2, "end_s": 3.0},
    {"whose": "together", "start_s": 3.0, "end_s": 99.0},
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=PROGRAM, headless=True, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A class's folder: a short song with a pick-up, a repeat and endings; its page, a track, demos to compare with."""
    base = tmp_path_factory.mktemp("pages")
    song = base / "kettle-and-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    folder = base / "class" / "kettle-and-cup"
    folder.mkdir(parents=True)
    run_tercet("render", song, "-o", folder / "04-echo.mp3")
    (folder / "kit.json").write_text(json.dumps(manifest()), encoding="utf-8")
    run_tercet("page", song, "-o", base / "class", "--speeds", "80%,100%")
    run_tercet("page", song, "-o", base / "class", "--one-file")
    return base


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same song in another sound, whose stems are recorded: its page, a demo to compare with."""
    base = tmp_path_factory.mktemp("recorded")
    song = base / "kettle-and-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    sound = ("--sound", str(FONT))
    run_tercet("page", song, "-o", base / "class", "--speeds", "80%,100%", "--no-kit", *sound)
    run_tercet("render", song, "-o", base / "demo.wav", "--count-in", "0", *sound)
    return base


@pytest.fixture
def recorded_address(recorded: Path) -> str:
    return (recorded / "class" / "kettle-and-cup" / "index.html").as_uri()


def manifest() -> dict[str, Any]:
    bars = [{"bar": number, "start_s": 0.4 + number, "end_s": 1.4 + number} for number in range(4)]
    track = {
        "file": "04-echo.mp3",
        "set": "",
        "track": "echo",
        "title": "Kettle and Cup (echo)",
        "purpose": "hear a phrase, then play it in the same space",
        "length_s": 20.0,
        "bars": bars,
        "turns": TURNS,
    }
    return {"tercet_kit": 1, "sets": [{"name": ""}], "files": [track]}


@pytest.fixture(scope="session")
def served(pages: Path) -> Iterator[str]:
    with serving(pages / "class") as address:
        yield address


@pytest.fixture
def opened(browser: Browser) -> Iterator[Callable[..., Window]]:
    """Open windows; all are checked and closed at the end."""
    with ExitStack() as stack:
        yield lambda **settings: stack.enter_context(window(browser, **settings))


@pytest.fixture
def song_address(served: str) -> str:
    return f"{served}/kettle-and-cup/index.html"
