"""What Tercet says about malformed arrangement files, word for word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tercet.errors import Mistake, SongError, shown_mistakes
from tercet.song import parse_song
from tercet.song.plain_text import read_text
from tests.remake_goldens import MALFORMED, message_of

FILES = sorted(MALFORMED.glob("*.yaml"))
LINE = re.compile(
    r"line \d+[,:] |    (now|write|how): {2,4}\S|            \S|[^\s\d][^:]+|\d+ mistakes? in |there may be more"
)


def mistakes_of(path: Path) -> tuple[Mistake, ...]:
    with pytest.raises(SongError, match="mistake") as caught:
        parse_song(read_text(path), path.name)
    return caught.value.mistakes


def test_there_are_many() -> None:
    assert len(FILES) >= 100


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_message(path: Path) -> None:
    assert message_of(path) == path.with_suffix(".txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_nothing_recalls_a_compiler(path: Path) -> None:
    """No gutter, no carets, no file:line:column; every line is a sentence with its place, or says now, write or how."""
    for line in message_of(path).splitlines():
        assert not re.search(r"^ *\d* \| |\^\^|\.yaml:\d|\d:\d+:", line)
        assert LINE.match(line), line


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_what_is_marked_is_the_slip(path: Path) -> None:
    """Of each line that is shown, the marks hold what stands at the mistakes' columns."""
    for mistake in mistakes_of(path):
        if mistake.text.strip():
            assert 1 <= mistake.column <= len(mistake.text) + 1
            slip = mistake.text[mistake.column - 1 :][: mistake.width]
            now = shown_mistakes([mistake]).splitlines()[1]
            assert now.startswith("    now:    ")
            assert f"»{slip}«".replace("\t", " ") in now or "…" in now


def test_every_golden_has_its_file() -> None:
    assert {path.stem for path in MALFORMED.glob("*.txt")} == {path.stem for path in FILES}
