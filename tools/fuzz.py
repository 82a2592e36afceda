"""Feed damaged songs, class files and tunes to their readers until the time is over: ``make fuzz``.

Hypothesis makes the files and, where one brings a reader down, makes it small and prints it. Songs that can be read are
arranged, performed and exported too.
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

from tests.exchange import fuzz as tunes
from tests.song import fuzz as songs

__all__ = ["main"]

AT_ONCE = 300
KINDS = (*songs.KINDS, *tunes.READERS)


def main() -> int:
    """Take the readers in turn; a fault of theirs ends it with its traceback."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument(
        "--kinds", nargs="+", choices=KINDS, default=KINDS, help="files to damage (default: all)"
    )
    arguments = parser.parse_args()
    until_s = time.monotonic() + 60 * arguments.minutes
    tried: Counter[str] = Counter()
    while time.monotonic() < until_s:
        for kind in arguments.kinds:
            _fuzz(kind, tried, until_s)
        told = ", ".join(f"{name} {count}" for name, count in sorted(tried.items()))
        print(f"{tried.total()} tried: {told}", file=sys.stderr, flush=True)
    print(f"{tried.total()} damaged files, no traceback")
    return 0


def _fuzz(kind: str, tried: Counter[str], until_s: float) -> None:
    damaged = songs.KINDS[kind].damaged if kind in songs.KINDS else tunes.damaged(kind)

    @given(damaged, st.booleans())
    @settings(max_examples=AT_ONCE, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    def fuzz(data: bytes, harmonise: bool) -> None:
        if time.monotonic() > until_s:
            return
        song = kind in songs.KINDS
        result = songs.outcome(kind, data) if song else tunes.outcome(kind, data, harmonise=harmonise)
        tried[f"{kind} {result}"] += 1

    fuzz()


if __name__ == "__main__":
    raise SystemExit(main())
