"""Batches that were played: kept, put away, shared with other processes, and let go."""

from __future__ import annotations

import pickle
import weakref
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.errors import OutputError
from tercet.tracks.clips.batch_cache import BatchCache

FRAMES = 1000
BATCH_BYTES = 8 * FRAMES


class Player:
    """Plays batches, and counts how often."""

    def __init__(self) -> None:
        self.played: list[str] = []

    def get(self, cache: BatchCache, name: str, *, for_others: bool = True) -> NDArray[np.float32]:
        return cache.get(name, lambda: self.play(name), for_others=for_others)

    def play(self, name: str) -> NDArray[np.float32]:
        self.played.append(name)
        return sound_of(name)


def sound_of(name: str) -> NDArray[np.float32]:
    return np.full((FRAMES, 2), float(ord(name)), np.float32)


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("*"))


def test_what_memory_has_no_room_for_is_read_again_and_not_played_again(tmp_path: Path) -> None:
    cache, player = BatchCache(tmp_path / "work", room_bytes=2 * BATCH_BYTES), Player()
    for name in "abcdabcd":
        assert np.array_equal(player.get(cache, name), sound_of(name))
    assert player.played == ["a", "b", "c", "d"]
    assert len(files(tmp_path / "work")) >= 2


def test_with_room_nothing_is_written(tmp_path: Path) -> None:
    cache, player = BatchCache(tmp_path / "work", room_bytes=4 * BATCH_BYTES), Player()
    for name in "abcdabcd":
        player.get(cache, name)
    assert player.played == ["a", "b", "c", "d"]
    assert not (tmp_path / "work").exists()


def test_a_batch_that_is_let_go_leaves_memory_and_folder(tmp_path: Path) -> None:
    cache, player = BatchCache(tmp_path, room_bytes=BATCH_BYTES), Player()
    for name in "abc":
        player.get(cache, name)
    for name in "abc":
        cache.forget(name)
    assert files(tmp_path) == []
    player.get(cache, "a")
    assert player.played == ["a", "b", "c", "a"]


def test_another_process_reads_what_it_needs_and_what_it_does_not_need_stays_unwritten(
    tmp_path: Path,
) -> None:
    cache, player = BatchCache(tmp_path, shared=True), Player()
    other, other_player = pickle.loads(pickle.dumps(cache)), Player()  # noqa: S301 - made here
    player.get(cache, "a")
    player.get(cache, "b", for_others=False)
    assert files(tmp_path) == ["a.f32"]
    assert np.array_equal(other_player.get(other, "a"), sound_of("a"))
    assert other_player.played == []


def test_of_several_shelves_one_has_its_batches_in_memory(tmp_path: Path) -> None:
    player = Player()
    first, second = (BatchCache(tmp_path / name) for name in ("first", "second"))
    kept = weakref.ref(player.get(first, "a"))
    assert kept() is not None
    player.get(second, "b")
    assert kept() is None
    assert (files(tmp_path / "first"), (tmp_path / "second").exists()) == (["a.f32"], False)
    assert np.array_equal(player.get(first, "a"), sound_of("a"))
    assert player.played == ["a", "b"]


def test_a_shelf_that_is_gone_is_not_written(tmp_path: Path) -> None:
    first, second = (BatchCache(tmp_path / name) for name in ("first", "second"))
    Player().get(first, "a")
    del first
    Player().get(second, "b")
    assert not (tmp_path / "first").exists()


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "work").write_text("a file")
    with pytest.raises(OutputError, match="can't write"):
        Player().get(BatchCache(tmp_path / "work", shared=True), "a")
