"""Memory of large blocks goes back to the system when they are let go, unless the user has decided otherwise."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

PROGRAM = """
import psutil
from tercet.memory import keep_large_sounds_apart
keep_large_sounds_apart()
held = psutil.Process().memory_info
sound = b"." * (12 << 20)
del sound
sounds, kept = [], []
for _ in range(8):
    sounds.append(b"." * (12 << 20))
    kept.append(b"." * (1 << 16))
most = held().rss
sounds.clear()
print((most - held().rss) >> 20)
"""


def given_back_mb(**environment: str) -> int:
    """Return how much of 96 MB goes back to the system, where something small was kept after each twelfth."""
    run = [sys.executable, "-c", PROGRAM]
    printed = subprocess.run(
        run, env=os.environ | environment, capture_output=True, text=True, check=True
    ).stdout
    return int(printed)


@pytest.mark.skipif(sys.platform != "linux", reason="the GNU C library is asked")
def test_large_blocks_are_given_back() -> None:
    assert given_back_mb() > 90


def test_what_the_user_has_set_holds() -> None:
    assert given_back_mb(MALLOC_MMAP_THRESHOLD_=str(32 << 20)) < 90
