"""A pool of processes on this computer, and a worker's side of it: how it starts, works, and ends.

A worker ends in four ways: the pool closes in peace; Ctrl-C or an error closes the lifeline; the process that started
it dies, even by ``kill -9``, which closes the lifeline too; or it is told to by SIGTERM. In the last three the job
that it is at is broken off by `Stopped`, so that the job's own ``finally`` blocks can take half-written files away,
and the process ends at the latest after `GRACE_S`.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection, wait
from types import FrameType, ModuleType
from typing import Any

from tercet.caches import cache_folder
from tercet.errors import WorkplaceError
from tercet.jobs.job import Failure, Job, carry_out, failure_of, packed
from tercet.jobs.workplaces import Workplace
from tercet.threads import keep_to_one_thread

__all__ = ["GRACE_S", "Pool", "Stopped"]

GRACE_S = 1.0
"""How long a job that is broken off has to clean up."""

WINDOWS_LIMIT = 61
"""How many processes one pool can watch on Windows; more aren't started anywhere."""

FALSE_STARTS = 2
"""After so many pools in which no worker ever began, it is not a job's fault."""


class Pool(Workplace):
    """Processes that are started by `get_ready` or when the first jobs come, and kept until the pool is left.

    They are started afresh (``spawn``), not copied from this process, so that no lock or thread of ours comes along.
    When one is lost, `concurrent.futures` ends all of its pool; those that were at other jobs may clean up first.

    Parameters
    ----------
    workers
        How many processes, at least 1.
    """

    def __init__(self, workers: int) -> None:
        self._workers = min(workers, WINDOWS_LIMIT)
        self._executor: ProcessPoolExecutor | None = None
        self._lifeline: Connection | None = None
        self._false_starts = 0

    @property
    def workers(self) -> int:
        """How many processes."""
        return self._workers

    @property
    def ahead(self) -> int:
        """One job for each worker, and another ready."""
        return 2 * self.workers

    def close(self) -> None:
        """Wait until all workers have ended in peace."""
        try:
            if self._executor is not None:
                self._executor.shutdown()
        finally:
            self._let_go()

    def get_ready(self, job: Job[Any, Any], jobs: int) -> None:
        """Start as many workers as there will be jobs for, each with a job whose result nobody waits for."""
        with suppress(BrokenExecutor):
            for _ in range(min(self.workers, jobs)):
                self.submit(packed(job))

    def submit(self, package: bytes) -> Future[bytes]:
        """Give a packed job to the next free worker; start one if there are too few."""
        executor = self._executor or self._open()
        try:
            with _interrupts_held_back(), _program_left_out():
                return executor.submit(work, package)
        except OSError as error:
            raise WorkplaceError(
                f"can't start {self.workers} processes here ({error.strerror or error}): try fewer, such as --jobs 1"
            ) from error

    def judge(self, error: BaseException) -> Failure | None:
        """Return None where a worker was lost: the job runs again."""
        return None if isinstance(error, BrokenExecutor) else failure_of(error)

    def renew(self) -> None:
        """Let go of a pool that lost a worker; the next job opens another."""
        begun = self._lifeline is not None and self._lifeline.poll()
        self._false_starts = 0 if begun else self._false_starts + 1
        self.stop()
        if self._false_starts >= FALSE_STARTS:
            raise WorkplaceError("processes that are started here end before they can work: try --jobs 1")

    def stop(self) -> None:
        """End all workers now: their jobs are broken off."""
        executor = self._executor
        self._let_go()
        if executor is not None:
            executor.shutdown(cancel_futures=True)

    def _open(self) -> ProcessPoolExecutor:
        """Make an executor; its processes start with their jobs, and find the cache that this one settles on."""
        cache_folder()
        context = get_context("spawn")
        self._lifeline, theirs = context.Pipe()
        self._executor = ProcessPoolExecutor(self.workers, context, initializer=begin, initargs=(theirs,))
        return self._executor

    def _let_go(self) -> None:
        """Close our end of the lifeline, which ends every worker that still lives."""
        if self._lifeline is not None:
            self._lifeline.close()
        self._executor = self._lifeline = None


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Hold Ctrl-C back for this thread while a process may be started, which takes over what is held back.

    So Ctrl-C can't hit a worker before it has learnt to ignore it; ours comes as soon as the block is left.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _program_left_out() -> Iterator[None]:
    """Let a process that may be started know nothing of the program that runs here: jobs name the modules they need.

    It would run the program's file again, which starts all over where a script isn't guarded by its ``__name__``.
    """
    program = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = program


# ---- a worker's side

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
    keep_to_one_thread()
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
