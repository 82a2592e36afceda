"""A pool of processes on this computer."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Any, Self

from tercet.errors import PlaceError
from tercet.jobs.job import Failure, Job, failure_of, packed
from tercet.jobs.worker import begin, work

__all__ = ["Pool"]

WINDOWS_LIMIT = 61
"""How many processes one pool can watch on Windows; more aren't started anywhere."""

FALSE_STARTS = 2
"""After so many pools in which no worker ever began, it is not a job's fault."""


class Pool:
    """Processes that are started by `get_ready` or when the first jobs come, and kept until the pool is left.

    They are started afresh (``spawn``), not copied from this process, so that no lock or thread of ours comes along.
    When one is lost, `concurrent.futures` ends all of its pool; those that were at other jobs may clean up first.

    Parameters
    ----------
    workers
        How many processes, at least 1.
    """

    def __init__(self, workers: int) -> None:
        self.workers = min(workers, WINDOWS_LIMIT)
        self._executor: ProcessPoolExecutor | None = None
        self._lifeline: Connection | None = None
        self._false_starts = 0

    @property
    def ahead(self) -> int:
        """One job for each worker, and another ready."""
        return 2 * self.workers

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is not None:
            self.stop()
            return
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
            with _interrupts_held_back():
                return executor.submit(work, package)
        except OSError as error:
            raise PlaceError(
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
            raise PlaceError("processes that are started here end before they can work: try --jobs 1")

    def stop(self) -> None:
        """End all workers now: their jobs are broken off."""
        executor = self._executor
        self._let_go()
        if executor is not None:
            executor.shutdown(cancel_futures=True)

    def _open(self) -> ProcessPoolExecutor:
        """Make an executor; its processes start with their jobs."""
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
