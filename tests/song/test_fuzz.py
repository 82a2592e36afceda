"""A short run of the fuzzing of songs and class files that ``make fuzz`` goes on with."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from tercet.errors import RequestError
from tests.song import fuzz
from tests.song.fuzz import KINDS, SONGS, outcome

TAKEN = {"song": 60, "class": 100}


@pytest.mark.parametrize("kind", KINDS)
def test_damaged_files_are_read_or_refused(kind: str) -> None:
    seen = set()

    @given(KINDS[kind].damaged)
    @settings(
        max_examples=TAKEN[kind], derandomize=True, database=None, suppress_health_check=list(HealthCheck)
    )
    def take(data: bytes) -> None:
        seen.add(outcome(kind, data))

    take()
    assert seen == {"read", "refused"}


@pytest.mark.parametrize("kind", KINDS)
def test_what_the_slips_are_made_in_is_whole(kind: str) -> None:
    assert outcome(kind, KINDS[kind].whole) == "read"


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_own_songs_are_whole(path: Path) -> None:
    assert outcome("song", path.read_bytes()) == "read"


def test_a_traceback_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(path: Path) -> None:
        raise KeyError(path)

    monkeypatch.setitem(KINDS, "song", fuzz.Kind(KINDS["song"].damaged, b"", "song.yaml", faulty))
    with pytest.raises(KeyError):
        outcome("song", b"x")


@pytest.mark.parametrize("said", ["", " \n", "red \x1b[31m", "half \ud800"])
def test_a_message_that_says_nothing_or_too_much_would_be_seen(
    said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def faulty(_path: Path) -> None:
        raise RequestError(said)

    monkeypatch.setitem(KINDS, "class", fuzz.Kind(KINDS["class"].damaged, b"", "class.yaml", faulty))
    with pytest.raises(AssertionError):
        outcome("class", b"x")
