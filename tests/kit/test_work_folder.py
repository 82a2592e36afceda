"""Work folders: one that a killed command left goes, one that is in use or about to be stays."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

import pytest

from tercet.kit.work_folder import LOCK, PREFIX, remove_left, work_folder


def test_what_a_killed_command_left_goes(tmp_path: Path) -> None:
    left = tmp_path / f"{PREFIX}left"
    left.mkdir()
    (left / LOCK).touch()
    (left / "batch.f32").touch()
    remove_left(tmp_path)
    assert not list(tmp_path.iterdir())


def test_what_is_in_use_stays(tmp_path: Path) -> None:
    with work_folder(tmp_path) as used:
        remove_left(tmp_path)
        assert used.exists()
    assert not list(tmp_path.iterdir())


def test_one_whose_owner_is_about_to_lock_it_stays_for_a_minute(tmp_path: Path) -> None:
    new = tmp_path / f"{PREFIX}new"
    new.mkdir()
    remove_left(tmp_path)
    assert new.exists()
    minute_ago_s = time.time() - 61
    os.utime(new, (minute_ago_s, minute_ago_s))
    remove_left(tmp_path)
    assert not new.exists()


def test_other_hidden_folders_stay(tmp_path: Path) -> None:
    (tmp_path / ".tercet").mkdir()
    (tmp_path / ".git").mkdir()
    remove_left(tmp_path)
    assert len(list(tmp_path.iterdir())) == 2


def test_a_folder_that_a_disk_holds_a_moment_longer_goes_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    removed = shutil.rmtree
    refused: list[Path] = []

    def slow_disk(folder: Path, *, ignore_errors: bool) -> None:
        if len(refused) < 2:
            refused.append(folder)
        else:
            removed(folder, ignore_errors=ignore_errors)

    monkeypatch.setattr(shutil, "rmtree", slow_disk)
    with work_folder(tmp_path):
        pass
    assert len(refused) == 2
    assert not list(tmp_path.iterdir())
