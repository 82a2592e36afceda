"""Where the command ``tercet`` and ``python -m tercet`` start: before all else is loaded, Ctrl-C is provided for.

Loading takes a quarter of a second, in which nothing is written; whoever presses Ctrl-C then gets a sentence, as later.
Numeric libraries settle on their threads as they are loaded, so that they are kept to one comes first, too.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
from contextlib import suppress
from types import FrameType

from tercet.threads import keep_to_one_thread

INTERRUPTED = 130
"""Exit code after Ctrl-C, as shells count it."""


YOUNG_AND_OLD = 50_000, 20, 100
"""How many new objects, and how often, before the collector looks for circles: what is loaded and worked out makes
hundreds of thousands that stay, and to look through them at Python's own pace is a fifteenth of a short command."""


def main() -> int:
    """Run the command line and return its exit code."""
    heeded = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if heeded:
        signal.signal(signal.SIGINT, _stop)
    keep_to_one_thread()
    gc.set_threshold(*YOUNG_AND_OLD)
    try:
        from tercet.cli import main as run

        if heeded:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        return run()
    except KeyboardInterrupt:  # between our handler and the command's own
        _stop()
        raise
    finally:
        if heeded:
            # All is done: whoever presses Ctrl-C while Python takes itself apart ends it at once.
            signal.signal(signal.SIGINT, signal.SIG_DFL)


def _stop(_number: int = signal.SIGINT, _frame: FrameType | None = None) -> None:
    """Say that it stops, and end."""
    with suppress(OSError):
        os.write(2, b"stopped; nothing half written was left\n")
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    sys.exit(main())
