"""Feed damaged tunes to the readers of MusicXML, ABC and MIDI until the time is over: ``make fuzz``.

Hypothesis makes the tunes and, where one brings a reader down, makes it small and prints it.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.exchange.fuzz import READERS, damaged, outcome

__all__ = ["main"]

AT_ONCE = 300


def main() -> int:
    """Take the readers in turn; a fault of theirs ends it with its traceback."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=10)
    until_s = time.monotonic() + 60 * parser.parse_args().minutes
    tried: Counter[str] = Counter()
    while time.monotonic() < until_s:
        for kind in READERS:
            _fuzz(kind, tried)
        told = ", ".join(f"{name} {count}" for name, count in sorted(tried.items()))
        print(f"{tried.total()} tried: {told}", file=sys.stderr, flush=True)
    print(f"{tried.total()} damaged tunes, no traceback")
    return 0


def _fuzz(kind: str, tried: Counter[str]) -> None:
    @given(damaged(kind), st.booleans())
    @settings(max_examples=AT_ONCE, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    def fuzz(data: bytes, harmonise: bool) -> None:
        tried[f"{kind} {outcome(kind, data, harmonise=harmonise)}"] += 1

    fuzz()


if __name__ == "__main__":
    raise SystemExit(main())
