"""A worker process's side of the pool: how it starts, works, and ends.

A worker ends in four ways: the pool closes in peace; Ctrl-C or an error closes the lifeline; the process that started
it dies, even by ``kill -9``, which closes the lifeline too; or it is told to by SIGTERM. In the last three the job
that it is at is broken off by `Stopped`, so that the job's own ``finally`` blocks can take half-written files away,
and the process ends at the latest after `GRACE_S`.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait
from types import FrameType

from tercet.jobs.job import carry_out

__all__ = ["GRACE_S", "THREAD_SETTINGS", "Stopped", "begin", "work"]

GRACE_S = 1.0
"""How long a job that is broken off has to clean up."""

THREAD_SETTINGS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)
"""What numeric libraries read, when they are loaded, to learn how many threads they may start."""

_at_work = False


class Stopped(BaseException):
    """Raised within a job that is broken off; no job should catch it for good."""


def begin(lifeline: Connection) -> None:
    """Make a process that was just started a good worker; called in it once, before its first job.

    Ctrl-C reaches all processes of a terminal, but only the one that the user started decides what to do. Numeric
    libraries get one thread each, as there is a worker for each processor.

    Parameters
    ----------
    lifeline
        An end of a pipe whose other end the pool holds: readable as soon as that is closed. One message is sent on
        it, to say that this worker has begun.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _break_off)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    for setting in THREAD_SETTINGS:
        os.environ.setdefault(setting, "1")
    threading.Thread(target=_end_with_parent, args=(lifeline,), name="lifeline", daemon=True).start()
    try:
        lifeline.send_bytes(b"begun")
    except OSError:
        os._exit(1)  # stopped before it began


def work(package: bytes) -> bytes:
    """Carry out a packed job; parameters and result as for `carry_out`."""
    global _at_work  # noqa: PLW0603 - the signal handler's only way to know
    try:
        _at_work = True
        return carry_out(package)
    except Stopped:
        os._exit(1)
    finally:
        _at_work = False


def _break_off(_number: int, _frame: FrameType | None) -> None:
    """Answer SIGTERM: break off the job, or end at once if there is none."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    if not _at_work:
        os._exit(1)
    raise Stopped


def _end_with_parent(lifeline: Connection) -> None:
    """Wait, beside the jobs, until the pool lets go of its end or its process dies; then end this process."""
    parent = parent_process()
    wait([lifeline, *([parent.sentinel] if parent else [])])
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(GRACE_S)
    os._exit(1)
