"""Working time in a measure that a busy or slower machine stretches alike, so that no test depends on either."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

LEAST_S = 0.02
"""No machine is taken to need less for a yardstick: what worked shorter than that many isn't held against one."""


def yardstick_s() -> float:
    """Return what a million squares take to be added up: 0.05 s on a machine with nothing else to do."""
    began_s = time.process_time()
    sum(number * number % 7 for number in range(1_000_000))
    return time.process_time() - began_s


@contextmanager
def at_most(yardsticks: float) -> Iterator[None]:
    """Check that a block works no longer than so many yardsticks, the longer of two taken after it."""
    began_s = time.process_time()
    yield
    worked_s = time.process_time() - began_s
    if worked_s > yardsticks * LEAST_S:
        found = worked_s / max(yardstick_s(), yardstick_s())
        assert found <= yardsticks, f"worked {found:.1f} yardsticks ({worked_s:.1f} s), at most {yardsticks}"
