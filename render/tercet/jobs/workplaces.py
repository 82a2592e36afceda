"""Where jobs run: what all workplaces have in common, the simplest one, and how one is chosen."""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from concurrent.futures import Future
from types import TracebackType
from typing import Any, Self

from tercet.errors import ParameterError
from tercet.jobs.job import Failure, Job, carry_out, failure_of

__all__ = ["ThisProcess", "Workplace", "cores", "open_workplace"]


class Workplace(ABC):
    """Where jobs run; a context manager that keeps its workers until it is left.

    The work is done by a `concurrent.futures` executor; what differs between workplaces is what is lost when a worker
    is, and how work is stopped. One thread at a time may use a workplace.
    """

    @property
    @abstractmethod
    def ahead(self) -> int:
        """How many jobs may be running or wait here: enough that no worker waits for the next."""

    @property
    @abstractmethod
    def workers(self) -> int:
        """How many jobs run at once."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is not None:
            self.stop()
        self.close()

    def get_ready(self, job: Job[Any, Any], jobs: int) -> None:  # noqa: B027 - where workers are there already
        """Have workers start, and carry out a job whose result nobody waits for, before work comes.

        Parameters
        ----------
        job
            What loads all that the jobs will need; it mustn't fail.
        jobs
            How many jobs will come: more workers aren't needed.
        """

    @abstractmethod
    def submit(self, package: bytes) -> Future[bytes]:
        """Have a packed job carried out.

        Raises
        ------
        concurrent.futures.BrokenExecutor
            If workers were lost; `renew` gets new ones.
        WorkplaceError
            If nothing can run here.
        """

    def judge(self, error: BaseException) -> Failure | None:
        """Return what an error means that isn't the job's own: a failure to report, or None to run it again.

        Raises
        ------
        WorkplaceError
            If the workplace has gone.
        """
        return failure_of(error)

    def renew(self) -> None:  # noqa: B027 - where no worker can be lost, or others look after them
        """Get new workers after some were lost.

        Raises
        ------
        WorkplaceError
            If they can't even be started.
        """

    def stop(self) -> None:  # noqa: B027 - where nothing is under way between two calls
        """Stop what is running and forget what waits; the workplace may be used again."""

    def close(self) -> None:  # noqa: B027 - where nothing was opened
        """Let go of what was opened, when the workplace is left."""


class ThisProcess(Workplace):
    """In this process, one job after another, without a pool: for one job, or when asked."""

    ahead = 1
    workers = 1

    def submit(self, package: bytes) -> Future[bytes]:
        """Carry a packed job out before returning."""
        future: Future[bytes] = Future()
        future.set_result(carry_out(package))
        return future


def cores() -> int:
    """Return how many processors this process may use, at least 1."""
    counted: int | None
    if hasattr(os, "process_cpu_count"):
        counted = os.process_cpu_count()
    elif hasattr(os, "sched_getaffinity"):
        counted = len(os.sched_getaffinity(0))
    else:
        counted = os.cpu_count()
    return counted or 1


def open_workplace(workers: int | None = None, cluster: str | None = None) -> Workplace:
    """Return the workplace that was asked for; enter it with ``with``.

    Parameters
    ----------
    workers
        How many processes; 1 stands for this one, None for one on each processor (`cores`).
    cluster
        Address of a Dask scheduler, such as ``tcp://10.0.0.5:8786``; its workers say how many jobs they take.

    Raises
    ------
    ParameterError
        If both are asked for, or fewer than one process.
    WorkplaceError
        On entering, if the cluster isn't there.
    """
    if cluster is not None:
        if workers is not None:
            raise ParameterError("workers must be None where there is a cluster")
        from tercet.jobs.cluster import Cluster

        return Cluster(cluster)
    if workers is not None and workers < 1:
        raise ParameterError(f"workers must be 1 or more (got {workers})")
    workers = workers or cores()
    if workers == 1:
        return ThisProcess()
    from tercet.jobs.pool import Pool

    return Pool(workers)
