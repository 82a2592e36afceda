"""A short run of the fuzzing that ``make fuzz`` does for ten minutes."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.exchange.fuzz import READERS, damaged, outcome


@pytest.mark.parametrize("kind", READERS)
def test_damaged_tunes_are_read_or_refused(kind: str) -> None:
    @given(damaged(kind), st.booleans())
    @settings(max_examples=60, suppress_health_check=list(HealthCheck))
    def fuzz(data: bytes, harmonise: bool) -> None:
        assert outcome(kind, data, harmonise=harmonise) in ("song", "refused")

    fuzz()


@pytest.mark.parametrize("kind", READERS)
def test_what_the_slips_are_made_in_is_whole(kind: str) -> None:
    assert outcome(kind, READERS[kind][0], harmonise=False) == "song"


def test_a_traceback_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(data: bytes) -> None:
        raise KeyError(data)

    monkeypatch.setitem(READERS, "abc", (b"", faulty))
    with pytest.raises(KeyError):
        outcome("abc", b"x", harmonise=False)
