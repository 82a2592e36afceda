"""Workers of a Dask cluster, on other computers or this one (the extra ``cluster``)."""

from __future__ import annotations

import asyncio
import logging
import pkgutil
from collections.abc import Iterator
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Self

from tercet import __version__
from tercet.errors import WorkplaceError
from tercet.jobs.job import Failure, carry_out, failure_of
from tercet.jobs.workplaces import Workplace

if TYPE_CHECKING:
    from distributed import Client
    from distributed.cfexecutor import ClientExecutor

__all__ = ["ANSWER_S", "Cluster"]

ANSWER_S = 5.0
"""How long a scheduler and its first worker have to answer."""

VERSION = "tercet:__version__"
"""What a worker is asked for."""

LOGS = ("distributed", "tornado")
"""Who logs for Dask; tornado is what it speaks through."""

AHEAD = 1000
"""Jobs given to the scheduler at once: it shares them out itself, also to workers that come later."""


class Cluster(Workplace):
    """The workers of a Dask scheduler that is running already.

    Dask itself runs the jobs of a lost worker again elsewhere, and gives a job up after it has lost four workers
    (its setting ``distributed.scheduler.allowed-failures``, 3).

    Parameters
    ----------
    address
        Where the scheduler listens, such as ``tcp://10.0.0.5:8786``.
    """

    ahead = AHEAD

    def __init__(self, address: str) -> None:
        self.address = address
        self._client: Client | None = None
        self._executor: ClientExecutor | None = None
        self._opened = ExitStack()
        self._gone = False

    def __enter__(self) -> Self:
        """Join the cluster, and see that its workers can do our jobs.

        Raises
        ------
        WorkplaceError
            If Dask isn't installed, nobody answers, there is no worker, or a worker has another Tercet.
        """
        try:
            from distributed import Client
        except ImportError as error:
            raise WorkplaceError(
                f"--cluster needs Dask, which isn't installed ({error}): pip install 'tercet[cluster]'"
            ) from error
        with ExitStack() as opened:
            opened.enter_context(self._dask_quiet())
            self._knock()
            self._client = Client(self.address, timeout=ANSWER_S, set_as_default=False, name="tercet")
            opened.callback(self._leave)
            self._check_workers(self._client)
            self._executor = self._client.get_executor(pure=False)
            self._opened = opened.pop_all()
        return self

    def close(self) -> None:
        """Leave the cluster."""
        self._opened.close()

    @property
    def workers(self) -> int:
        """How many jobs the cluster runs at once, as it is now; at least 1."""
        if self._client is None:
            raise WorkplaceError(f"the cluster at {self.address} must be entered first")
        threads: dict[str, int] = self._client.nthreads()
        return max(sum(threads.values()), 1)

    def submit(self, package: bytes) -> Future[bytes]:
        """Give a packed job to the scheduler."""
        if self._executor is None:
            raise WorkplaceError(f"the cluster at {self.address} must be entered first")
        future: Future[bytes] = self._executor.submit(carry_out, package)
        return future

    def judge(self, error: BaseException) -> Failure:
        """Return a job that lost its workers as failed.

        Raises
        ------
        WorkplaceError
            If the scheduler has gone: then all that was under way is cancelled.
        """
        from distributed import KilledWorker

        if isinstance(error, CancelledError):
            self._gone = True
            raise WorkplaceError(
                f"the Dask scheduler at {self.address} has gone; what is finished stays, and the same command goes "
                "on from there"
            ) from error
        if isinstance(error, KilledWorker):
            return Failure(
                f"the workers that tried it were killed, {error.allowed_failures + 1} in a row; "
                "too little memory is the usual cause",
                str(error),
            )
        return failure_of(error)

    def stop(self) -> None:
        """Cancel what waits. What a worker is at is finished there, and nobody waits for it."""
        if self._executor is not None and self._client is not None:
            # Where the scheduler has gone, there is nothing to cancel and nobody to tell.
            with suppress(OSError):
                self._executor.shutdown(wait=False)
            self._executor = self._client.get_executor(pure=False)

    def _leave(self) -> None:
        """Close the connection; scheduler and workers go on."""
        if self._client is not None:
            with suppress(OSError):
                self._client.close(timeout=ANSWER_S)
        self._client = self._executor = None

    def _knock(self) -> None:
        """See whether a scheduler answers, before Dask's client, which can't be closed well if none does."""
        try:
            # In a thread of its own: whoever calls may have a loop that runs already.
            with ThreadPoolExecutor(max_workers=1) as knocking:
                knocking.submit(lambda: asyncio.run(_identity(self.address))).result()
        except Exception as error:
            raise WorkplaceError(
                f"no Dask scheduler answers at {self.address}: start one with «dask scheduler --host ADDRESS» and "
                "give the address that it prints, such as tcp://10.0.0.5:8786"
            ) from error

    @contextmanager
    def _dask_quiet(self) -> Iterator[None]:
        """Keep Dask's log from telling at length what we tell in a sentence.

        It stays quiet where the scheduler has gone: Dask goes on looking for it in the background.
        """
        names = [name for name in logging.root.manager.loggerDict if name.partition(".")[0] in LOGS]
        before = {name: logging.getLogger(name).level for name in names}
        for name in names:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        try:
            yield
        finally:
            if not self._gone:
                for name, level in before.items():
                    logging.getLogger(name).setLevel(level)

    def _check_workers(self, client: Client) -> None:
        """Wait for a worker, and compare every worker's Tercet with ours."""
        try:
            client.wait_for_workers(1, timeout=ANSWER_S)
        except TimeoutError as error:
            raise WorkplaceError(
                f"the Dask scheduler at {self.address} has no worker: start one with "
                f"«dask worker {self.address} --host ADDRESS --nthreads 1 --nworkers -1»"
            ) from error
        versions = client.run(pkgutil.resolve_name, VERSION, on_error="return")
        for worker, version in versions.items():
            if version != __version__:
                found = "can't load Tercet" if isinstance(version, BaseException) else f"has Tercet {version}"
                raise WorkplaceError(
                    f"the worker at {worker} {found}, and this computer has Tercet {__version__}: "
                    "install the same on both and start the worker again"
                )


async def _identity(address: str) -> None:
    """Ask a scheduler who it is; raises what Dask raises if there is none."""
    from distributed import rpc

    async with asyncio.timeout(ANSWER_S), rpc(address, timeout=ANSWER_S) as scheduler:
        await scheduler.identity(n_workers=0)
