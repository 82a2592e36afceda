"""Opening the desk: by the command, by a double-click, for the first time; and what its page is made of."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tercet.desk import page_files, serving
from tercet.errors import OutsideError
from tercet.song import parse_song
from tests.desk.desks import Desk

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "render" / "tercet" / "desk" / "page"


def opened(command: list[str], folder: Path, *more: str) -> tuple[str, int]:
    """Run what opens a desk until it answers, then press Ctrl-C; return what it said, and how it ended."""
    program = subprocess.Popen(
        [*command, str(folder), "--no-window", *more],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        assert program.stdout is not None
        address = program.stdout.readline().strip()
        while address and not address.startswith("http"):
            address = program.stdout.readline().strip()
        found = Desk(address, folder)
        assert [song["name"] for song in found.ask("songs")["songs"]] == ["harbour-lanterns.yaml"]
        os.killpg(program.pid, signal.SIGINT)
        _, said = program.communicate(timeout=30)
    finally:
        if program.poll() is None:
            os.killpg(program.pid, signal.SIGKILL)
    return said, program.returncode


def test_the_command_says_where_and_ends_by_ctrl_c(tmp_path: Path) -> None:
    said, code = opened([sys.executable, "-m", "tercet", "desk"], tmp_path / "new" / "songs")
    assert code == 0, said
    assert str(tmp_path / "new" / "songs") in said
    assert "last window" in said


@pytest.mark.parametrize("starter", ["open-desk.sh", "open-desk.command"])
def test_a_double_click_opens_it(starter: str, tmp_path: Path) -> None:
    said, code = opened([str(ROOT / starter)], tmp_path)
    assert code in {0, -signal.SIGINT, 3}, said
    assert str(tmp_path) in said


def test_every_system_has_its_starter_and_they_do_the_same() -> None:
    batch = (ROOT / "open-desk.bat").read_bytes()
    assert batch.count(b"\r\n") == batch.count(b"\n") > 10
    for part in (b"tools\\set_up.py run", b".venv\\Scripts\\tercet.exe desk %*", b"pause"):
        assert part in batch
    entry = (ROOT / "open-desk.desktop").read_text()
    assert "open-desk.sh" in entry
    assert "Terminal=true" in entry
    for name in ("open-desk.sh", "open-desk.command"):
        assert os.access(ROOT / name, os.X_OK)


def test_a_folder_that_cannot_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    done = subprocess.run(
        [sys.executable, "-m", "tercet", "desk", str(tmp_path / "file"), "--no-window"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "file is a file: name the folder of your songs" in done.stderr
    assert f"write:  tercet desk {tmp_path} --no-window" in done.stderr
    under = tmp_path / "file" / "songs"
    with pytest.raises(OutsideError, match="the desk can't start"):
        serving.serve(under, opens=False, told=lambda *_: None)


def test_songs_lie_in_the_documents_and_begin_with_one_of_ours() -> None:
    assert serving.usual_folder().name == "Tercet"
    assert ROOT not in serving.usual_folder().parents
    name, text = serving.first_song()
    assert text == (ROOT / "songs" / name).read_text(encoding="utf-8")
    parse_song(text, name)


# ---- the page


def test_all_words_are_in_the_table_and_no_word_is_left_over() -> None:
    table = json.loads((PAGE / "english.json").read_text(encoding="utf-8"))
    html = (PAGE / "desk.html").read_text(encoding="utf-8")
    scripts = "".join(
        path.read_text(encoding="utf-8") for path in PAGE.glob("*.js") if path.name != "codemirror.js"
    )
    in_html = set(re.findall(r"\{\{ ([\w ]+) \}\}", html))
    in_scripts = set(re.findall(r'\btext\("([\w ]+)"', scripts))
    assert in_html <= set(page_files.page_words())
    assert in_scripts <= set(page_files.page_words())
    assert len(in_scripts) > 40
    begun = tuple(match.partition("$")[0] for match in re.findall(r"text\(`([^`]+)`", scripts))
    named = set(re.findall(r'"([\w ]+)"', scripts)) | in_html
    left = [name for name in table if name not in named and not name.startswith(begun) and name != "language"]
    assert left == []


def test_layers_stand_as_far_apart_as_on_the_class_page() -> None:
    told = [
        re.search(r"const CLOSER_DB = (\{.*\});", path.read_text(encoding="utf-8"))
        for path in (PAGE / "hearing.js", ROOT / "render/tercet/publish/page/player/3-player.js")
    ]
    assert told[0] is not None
    assert told[1] is not None
    assert told[0][1] == told[1][1]


def test_the_page_asks_for_nothing_but_its_own_files() -> None:
    for path in PAGE.iterdir():
        text = path.read_text(encoding="utf-8")
        if path.name == "codemirror.js":
            continue
        assert not re.search(r"https?://(?!www\.w3\.org)", text), path.name
        for name in re.findall(r'(?:from|import) "\./([\w.-]+)"', text):
            assert page_files.page_file(name), name
    text, policy = page_files.start_page()
    assert "{nonce}" not in text + policy
    assert "{{" not in text
