"""How many threads numeric libraries may start: one, unless the user says otherwise.

Our products of matrices are small: threads would wait for one another longer than they work, in a kit of seven tracks
for up to a quarter of all processor time. Whoever wants more processors has ``--jobs``.
"""

from __future__ import annotations

import os

__all__ = ["THREAD_SETTINGS", "keep_to_one_thread"]

THREAD_SETTINGS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)
"""What numeric libraries read, when they are loaded, to learn how many threads they may start."""


def keep_to_one_thread() -> None:
    """Let numeric libraries that this process loads from now on, and those of its children, start one thread.

    Whoever has set one of `THREAD_SETTINGS` has decided: then all stay as they are, since one may stand for another.
    """
    if not any(setting in os.environ for setting in THREAD_SETTINGS):
        os.environ.update(dict.fromkeys(THREAD_SETTINGS, "1"))
