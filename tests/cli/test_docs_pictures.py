"""Every command of docs/pictures.md and docs/sheet.md runs."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran

ROOT = Path(__file__).resolve().parents[2]
COMMANDS = [
    line.split(" #")[0].strip()
    for page in ("pictures.md", "sheet.md")
    for block in re.findall(r"```sh\n(.*?)```", (ROOT / "docs" / page).read_text(encoding="utf-8"), re.DOTALL)
    for line in block.splitlines()
]


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_page_runs(
    command: str, tmp_path: Path, tercet: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    song = (ROOT / "songs" / "washing-up-branle.yaml").read_text(encoding="utf-8")
    (tmp_path / "song.yaml").write_text(f"second: thirds\n{song}", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    program, *words = shlex.split(command.replace("SONG", "song.yaml"))
    ran = tercet(*words)
    assert (program, ran.code) == ("tercet", 0), ran.err
    assert Path(words[words.index("-o") + 1]).exists()
