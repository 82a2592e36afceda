"""What Tercet says about malformed arrangement files, word for word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.remake_goldens import MALFORMED, message_of

FILES = sorted(MALFORMED.glob("*.yaml"))
PLACE = re.compile(r"(?P<file>[\w-]+\.yaml)(?::(?P<line>\d+))?(?::(?P<column>\d+))?: .+")


def test_there_are_many() -> None:
    assert len(FILES) >= 100


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_message(path: Path) -> None:
    assert message_of(path) == path.with_suffix(".txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_caret_stands_under_something(path: Path) -> None:
    """Each caret stands within the line that it underlines, and each mistake has its place or is the file's."""
    shown = message_of(path).splitlines()
    for head, line, caret in zip(shown, shown[1:], shown[2:], strict=False):
        place = PLACE.fullmatch(head)
        if place is None or place["column"] is None:
            continue
        assert line.startswith(f"{place['line']:>5} | ")
        assert caret.startswith("      | ")
        assert set(caret[8:].strip()) == {"^"}
        assert len(caret.rstrip()) <= max(len(line), 9)
        assert caret.index("^") - 8 == int(place["column"]) - 1


def test_every_golden_has_its_file() -> None:
    assert {path.stem for path in MALFORMED.glob("*.txt")} == {path.stem for path in FILES}
