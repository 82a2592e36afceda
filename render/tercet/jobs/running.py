"""Run jobs in a workplace and tell what came of each, whatever happens to workers."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Future, wait
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from tercet.errors import WorkplaceError
from tercet.jobs.job import Failure, Job, Outcome, failure_of, packed, unpacked
from tercet.jobs.workplaces import Workplace

__all__ = ["run_jobs"]

Argument = TypeVar("Argument")
Result = TypeVar("Result")

LOSSES_IN_COMPANY = 2
"""After so many lost workers a job gets all workers to itself: it may be the one that kills them."""

LOOK_S = 0.5
"""How long is waited at a stretch: on Windows a wait without an end can't be interrupted by Ctrl-C."""

KILLED = Failure(
    f"the process that worked on it was killed {LOSSES_IN_COMPANY + 1} times, at last with no other job beside it; "
    "too little memory is the usual cause"
)


@dataclass(frozen=True, slots=True)
class _Attempt(Generic[Argument, Result]):
    """A job, packed, and how often workers were lost while it was with them."""

    job: Job[Argument, Result]
    package: bytes
    losses: int = 0


def run_jobs(
    jobs: Iterable[Job[Argument, Result]], workplace: Workplace
) -> Iterator[Outcome[Argument, Result]]:
    """Run jobs, and yield what came of each as soon as it is known: exactly one outcome for each job.

    A job that fails doesn't stop the others. Jobs whose worker was lost (killed, out of memory) run again; one that
    loses its worker again and again is run at the end with nothing beside it, and then reported as failed.

    Parameters
    ----------
    jobs
        The jobs. They are taken one by one, as there is room for them, so a generator may make them.
    workplace
        Where they run; entered, and kept open afterwards, so that jobs that need the results of others can follow
        in a second call to the same workers.

    Yields
    ------
    Outcome
        In the order in which they are finished.

    Raises
    ------
    WorkplaceError
        If the workplace can't run jobs (any more).

    Notes
    -----
    If it is left early, by Ctrl-C, an error or a ``break``, what is under way is stopped.
    """
    crew = _Crew[Argument, Result](workplace)
    try:
        for job in jobs:
            try:
                package = packed(job)
            except Exception as error:  # noqa: BLE001 - pickling raises what the data's own methods raise
                yield Outcome(job, failure=failure_of(error))
                continue
            crew.waiting.append(_Attempt(job, package))
            crew.hand_out()
            while crew.busy >= workplace.ahead:
                yield from crew.next_outcomes()
        while crew.busy or crew.gone:
            yield from crew.next_outcomes()
        while crew.suspects:
            crew.waiting.append(crew.suspects.popleft())
            while crew.busy or crew.gone:
                yield from crew.next_outcomes()
    finally:
        if crew.under_way:
            workplace.stop()


class _Crew(Generic[Argument, Result]):
    """The jobs that are with a workplace, those that wait for room there, and those that may kill workers."""

    def __init__(self, workplace: Workplace) -> None:
        self.workplace = workplace
        self.waiting: deque[_Attempt[Argument, Result]] = deque()
        self.suspects: deque[_Attempt[Argument, Result]] = deque()
        self.under_way: dict[Future[bytes], _Attempt[Argument, Result]] = {}
        self.broken = False
        self.gone: WorkplaceError | None = None

    @property
    def busy(self) -> int:
        """How many jobs are with the workplace or wait for it."""
        return len(self.under_way) + len(self.waiting)

    def hand_out(self) -> None:
        """Give what waits to the workplace, unless its workers are lost."""
        while self.waiting and not self.broken:
            try:
                future = self.workplace.submit(self.waiting[0].package)
            except BrokenExecutor:
                self.broken = True
            else:
                self.under_way[future] = self.waiting.popleft()

    def next_outcomes(self) -> list[Outcome[Argument, Result]]:
        """Hand out what waits, wait until something is finished, and return what came of it."""
        if self.gone is not None:
            raise self.gone
        self.hand_out()
        done: set[Future[bytes]] = set()
        while self.under_way and not done:
            done = wait(self.under_way, timeout=LOOK_S, return_when=FIRST_COMPLETED).done
        outcomes = self._judge(done)
        if self.broken:
            # When one worker is lost, the rest of its pool goes too: all that was under way ends at once.
            outcomes += self._judge(wait(self.under_way).done)
            self.workplace.renew()
            self.broken = False
        return outcomes

    def _judge(self, done: Collection[Future[bytes]]) -> list[Outcome[Argument, Result]]:
        """Return what came of finished attempts; those whose workers were lost wait for another.

        Where the workplace itself has gone, what was finished beside it is still told; then it can't go on.
        """
        outcomes: list[Outcome[Argument, Result]] = []
        for future in done:
            attempt = self.under_way.pop(future)
            error = CancelledError() if future.cancelled() else future.exception()
            try:
                failure = None if error is None else self.workplace.judge(error)
            except WorkplaceError as gone:
                self.gone = gone
                continue
            if error is None:
                outcomes.append(unpacked(attempt.job, future.result()))
            elif failure is None:
                self.broken = True
                outcomes += self._after_loss(replace(attempt, losses=attempt.losses + 1))
            else:
                outcomes.append(Outcome(attempt.job, failure=failure))
        if self.gone is not None and not outcomes:
            raise self.gone
        return outcomes

    def _after_loss(self, attempt: _Attempt[Argument, Result]) -> list[Outcome[Argument, Result]]:
        """Have a job that lost its worker run again; return it as failed if that happened too often."""
        if attempt.losses > LOSSES_IN_COMPANY:
            return [Outcome(attempt.job, failure=KILLED)]
        again = self.suspects if attempt.losses == LOSSES_IN_COMPANY else self.waiting
        again.append(attempt)
        return []
