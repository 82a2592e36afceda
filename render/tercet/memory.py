"""Memory of large sounds goes back to the system as soon as they are let go.

The GNU C library learns from the first large block that is given back to take the next one from the memory that small
ones lie in; there it stays behind them, in holes that fit nothing. So a kit of three sets, or a song that is edited all
evening, would hold a third more than it needs. Kept to a fixed size, large blocks have pages of their own.
"""

from __future__ import annotations

import ctypes
import functools
import os
import sys

__all__ = ["MEMORY_SETTINGS", "keep_large_sounds_apart"]

MEMORY_SETTINGS = ("GLIBC_TUNABLES", "MALLOC_MMAP_THRESHOLD_", "MALLOC_TRIM_THRESHOLD_")
"""What the GNU C library reads as a process starts."""

LARGE_BYTES = 8 << 20
"""From here on a block has pages of its own: twenty seconds of a layer. What an edit works with is smaller: to fetch
pages for that each time would take a twentieth of its time."""

FREE_BYTES = 16 << 20
"""So much that is free may stay at the end of the memory of small blocks."""

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
"""As ``malloc.h`` numbers them."""


@functools.cache
def keep_large_sounds_apart() -> None:
    """Have the GNU C library give large blocks pages of their own from now on; elsewhere nothing has to be done.

    Whoever has set one of `MEMORY_SETTINGS` has decided.
    """
    if sys.platform != "linux" or any(setting in os.environ for setting in MEMORY_SETTINGS):
        return
    change = getattr(ctypes.CDLL(None), "mallopt", None)
    if change is not None:
        change(M_MMAP_THRESHOLD, LARGE_BYTES)
        change(M_TRIM_THRESHOLD, FREE_BYTES)
