"""Where jobs run: what all places have in common, the simplest one, and how one is chosen."""

from __future__ import annotations

import os
from concurrent.futures import Future
from types import TracebackType
from typing import Any, Protocol, Self

from tercet.errors import RequestError
from tercet.jobs.job import Failure, Job, carry_out, failure_of

__all__ = ["Here", "Place", "cores", "open_place"]


class Place(Protocol):
    """Where jobs run; a context manager that keeps its workers until it is left.

    The work is done by a `concurrent.futures` executor; what differs between places is what is lost when a worker
    is, and how work is stopped. One thread at a time may use a place.
    """

    @property
    def ahead(self) -> int:
        """How many jobs may be running or wait here: enough that no worker waits for the next."""

    @property
    def workers(self) -> int:
        """How many jobs run at once."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    def get_ready(self, job: Job[Any, Any], jobs: int) -> None:
        """Have workers start, and carry out a job whose result nobody waits for, before work comes.

        Parameters
        ----------
        job
            What loads all that the jobs will need; it mustn't fail.
        jobs
            How many jobs will come: more workers aren't needed.
        """

    def submit(self, package: bytes) -> Future[bytes]:
        """Have a packed job carried out.

        Raises
        ------
        concurrent.futures.BrokenExecutor
            If workers were lost; `renew` mends it.
        PlaceError
            If nothing can run here.
        """

    def judge(self, error: BaseException) -> Failure | None:
        """Return what an error means that isn't the job's own: a failure to report, or None to run it again.

        Raises
        ------
        PlaceError
            If the place has gone.
        """

    def renew(self) -> None:
        """Get new workers after some were lost.

        Raises
        ------
        PlaceError
            If they can't even be started.
        """

    def stop(self) -> None:
        """Stop what is running and forget what waits; the place may be used again."""


class Here:
    """In this process, one job after another, without a pool: for one job, or when asked."""

    ahead = 1
    workers = 1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing was opened, so nothing is closed."""

    def get_ready(self, job: Job[Any, Any], jobs: int) -> None:
        """Do nothing: this process is at work already."""

    def submit(self, package: bytes) -> Future[bytes]:
        """Carry a packed job out before returning."""
        future: Future[bytes] = Future()
        future.set_result(carry_out(package))
        return future

    def judge(self, error: BaseException) -> Failure | None:
        """Return an error as it stands: nothing runs again here."""
        return failure_of(error)

    def renew(self) -> None:
        """No worker can be lost here."""

    def stop(self) -> None:
        """Nothing is ever under way between two calls."""


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


def open_place(workers: int | None = None, cluster: str | None = None) -> Place:
    """Return the place that was asked for; enter it with ``with``.

    Parameters
    ----------
    workers
        How many processes; 1 stands for this one, None for one on each processor (`cores`).
    cluster
        Address of a Dask scheduler, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    RequestError
        If both are asked for, or fewer than one process.
    PlaceError
        On entering, if the cluster isn't there.
    """
    if cluster is not None:
        if workers is not None:
            raise RequestError(
                "--jobs is for this computer and --cluster for others: give one of them "
                "(a cluster's workers say themselves how many jobs they take)"
            )
        from tercet.jobs.cluster import Cluster

        return Cluster(cluster)
    if workers is not None and workers < 1:
        raise RequestError(f"--jobs must be 1 or more (got {workers})")
    workers = workers or cores()
    if workers == 1:
        return Here()
    from tercet.jobs.pool import Pool

    return Pool(workers)
