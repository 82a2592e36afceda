"""What is kept for the next time: it comes back whole or not at all."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from tercet.caches import Cache, cache_folder

KEY = "a font\n5\n7"


def test_what_is_kept_comes_back_under_its_own_key(tmp_path: Path) -> None:
    cache = Cache(tmp_path / "new")
    assert cache.get(KEY) is None
    cache.keep(KEY, b"one\ntwo")
    assert cache.get(KEY) == b"one\ntwo"
    assert cache.get(KEY + "8") is None
    cache.keep(KEY, b"")
    assert cache.get(KEY) == b""
    assert len(list((tmp_path / "new").iterdir())) == 1


def test_a_key_may_hold_what_no_text_may(tmp_path: Path) -> None:
    cache = Cache(tmp_path)
    cache.keep("font-\udcff.sf2", b"kept")
    assert cache.get("font-\udcff.sf2") == b"kept"


@pytest.mark.parametrize("damage", [b"", b"a" * 63, b"\xff" * 64, b"A" * 64 + b"\nkept"])
def test_what_is_damaged_is_noticed(tmp_path: Path, damage: bytes, caplog: pytest.LogCaptureFixture) -> None:
    cache = Cache(tmp_path)
    cache.keep(KEY, b"kept")
    (path,) = tmp_path.iterdir()
    path.write_bytes(damage)
    with caplog.at_level(logging.WARNING):
        assert cache.get(KEY) is None
    assert "is damaged and is made again" in caplog.text
    cache.keep(KEY, b"kept")
    assert cache.get(KEY) == b"kept"


def test_where_nothing_can_be_kept_it_is_said(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / "file").write_text("no folder")
    cache = Cache(tmp_path / "file")
    with caplog.at_level(logging.WARNING):
        cache.keep(KEY, b"kept")
        assert cache.get(KEY) is None
    assert "can't be kept" in caplog.text


def test_kinds_lie_apart_in_the_users_cache() -> None:
    assert Cache.of_user("loudness").folder == cache_folder() / "loudness"
    assert Cache.of_user().folder == cache_folder()


def test_a_large_file_is_made_once_and_again_when_it_is_damaged(tmp_path: Path) -> None:
    made: list[int] = []

    def make() -> bytes:
        made.append(1)
        return b"a font" * 1000

    cache = Cache(tmp_path / "deep")
    path = cache.file("uke.sf2", make)
    assert path.read_bytes() == cache.file("uke.sf2", make).read_bytes() == b"a font" * 1000
    assert len(made) == 1
    path.write_bytes(b"a fomt" * 1000)
    assert cache.file("uke.sf2", make).read_bytes() == b"a font" * 1000
    path.with_suffix(".sha256").unlink()
    cache.file("uke.sf2", make)
    assert len(made) == 3
    assert sorted(each.name for each in path.parent.iterdir()) == ["uke.sf2", "uke.sha256"]
