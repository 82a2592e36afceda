"""A program that makes kits in processes of its own, quickly: everything is loaded once, then each is a fork.

It reads a line of JSON for each kit: the arguments, and after how many seconds the kit's process group is killed, or
null. It answers with a line: exit code (minus the signal's number if it was killed) and seconds.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path

from tercet.cli import main


def kit(arguments: list[str]) -> int:
    """Make a kit in this process."""
    sys.stdout = sys.stderr = Path(os.devnull).open("w")  # noqa: SIM115 - for the rest of the process
    return main(arguments)


def forked(arguments: list[str], kill_after_s: float | None) -> tuple[int, float]:
    """Make a kit in a process group of its own, and perhaps kill that."""
    start_s = time.perf_counter()
    child = os.fork()
    if not child:
        os.setsid()
        os._exit(kit(arguments))
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        try:
            os.killpg(child, signal.SIGKILL)
        except ProcessLookupError:
            os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status), time.perf_counter() - start_s


def serve() -> None:
    """Answer until there is nothing more to read."""
    import numpy as np  # noqa: F401 - loaded before the forks

    import tercet.kit.song_kit
    import tercet.sound.fluid
    import tercet.sound.room  # noqa: F401

    for line in sys.stdin:
        arguments, kill_after_s = json.loads(line)
        sys.stdout.write(json.dumps(forked(arguments, kill_after_s)) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    serve()
