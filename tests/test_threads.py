"""Commands keep numpy to one thread, and leave alone what the user has set."""

from __future__ import annotations

import os
import sys

import pytest

from tercet import __main__ as entry
from tercet.threads import THREAD_SETTINGS, keep_to_one_thread


@pytest.fixture(autouse=True)
def _nothing_set(monkeypatch: pytest.MonkeyPatch) -> None:
    for setting in THREAD_SETTINGS:
        monkeypatch.setenv(setting, "")  # so that it is put back
        monkeypatch.delenv(setting)


def given() -> set[str | None]:
    return {os.environ.get(setting) for setting in THREAD_SETTINGS}


def test_commands_keep_to_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["tercet", "--version"])
    assert entry.main() == 0
    assert given() == {"1"}


def test_nothing_is_changed_where_the_user_has_set_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "4")
    keep_to_one_thread()
    assert given() == {"4", None}
