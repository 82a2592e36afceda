"""Hashes of fonts are kept by path, size and date."""

from __future__ import annotations

from pathlib import Path

import pytest

from tercet.sound import soundfont_index as font_index
from tercet.sound.soundfont_index import index_folder, known_hash

HASHES = ["a" * 64, "b" * 64]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(font_index, "index_folder", lambda: tmp_path / "kept")
    return tmp_path / "kept"


def found(size_bytes: int = 5, modified_ns: int = 7, result: str = HASHES[1]) -> str:
    return known_hash(Path("font.sf2"), size_bytes, modified_ns, lambda: result)


def test_a_font_is_hashed_once(folder: Path) -> None:
    assert found(result=HASHES[0]) == HASHES[0]
    assert found() == HASHES[0]
    assert [path.suffix for path in folder.iterdir()] == [".sha256"]


@pytest.mark.parametrize(("size_bytes", "modified_ns"), [(6, 7), (5, 8)])
def test_a_font_that_changed_is_hashed_again(folder: Path, size_bytes: int, modified_ns: int) -> None:
    found(result=HASHES[0])
    assert found(size_bytes, modified_ns) == HASHES[1]


@pytest.mark.parametrize("damage", [b"", b"a" * 63, b"\xff" * 64, b"A" * 64])
def test_a_damaged_hash_is_made_again(folder: Path, damage: bytes) -> None:
    found(result=HASHES[0])
    (path,) = folder.iterdir()
    path.write_bytes(damage)
    assert found() == HASHES[1]
    assert path.read_text(encoding="ascii") == HASHES[1]


def test_where_nothing_can_be_kept_fonts_are_hashed_each_time(folder: Path) -> None:
    folder.write_text("not a folder")
    assert found(result=HASHES[0]) == HASHES[0]
    assert found() == HASHES[1]


def test_hashes_lie_in_the_users_cache() -> None:
    assert (index_folder().name, index_folder().parent.name) == ("fonts", "tercet")
