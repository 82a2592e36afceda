"""What holds in every workplace on this computer; the cluster has its own tests."""

from __future__ import annotations

import pickle
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Future, InvalidStateError
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from tercet.errors import WorkplaceError
from tercet.jobs import Failure, Job, ThisProcess, Workplace, run_jobs
from tercet.jobs.job import carry_out
from tercet.jobs.pool import Pool
from tests.jobs.work import (
    Meeting,
    Visit,
    divided,
    full_disk,
    jobs_of,
    leaves,
    meet,
    result_that_stays,
    square,
    stubborn_error,
    unreadable_result,
    visit,
)


@pytest.fixture(scope="module", params=["here", "pool"])
def workplace(request: pytest.FixtureRequest) -> Iterator[Workplace]:
    made: Workplace = ThisProcess() if request.param == "here" else Pool(2)
    with made as entered:
        yield entered


def test_every_job_has_one_outcome(workplace: Workplace) -> None:
    jobs = jobs_of(square, *range(40))
    outcomes = list(run_jobs(jobs, workplace))
    assert sorted(outcome.value() for outcome in outcomes) == [number**2 for number in range(40)]
    assert {outcome.job.name for outcome in outcomes} == {job.name for job in jobs}


def test_no_jobs_no_outcomes(workplace: Workplace) -> None:
    assert list(run_jobs([], workplace)) == []


def test_a_job_that_fails_does_not_stop_the_others(workplace: Workplace) -> None:
    jobs: list[Job[Any, Any]] = [
        *jobs_of(divided, 1, 0, 2),
        *(Job(function, 3, function.__name__) for function in (full_disk, stubborn_error, leaves)),
        Job(result_that_stays, 0, "result that stays"),
        Job(unreadable_result, 0, "unreadable result"),
        Job(divided, threading.Lock(), "argument that stays"),
        *jobs_of(square, 5, 6),
    ]
    failures = {}
    results = []
    for outcome in run_jobs(jobs, workplace):
        if outcome.failure:
            failures[outcome.job.name] = outcome.failure.message
        else:
            results.append(outcome.value())
    assert sorted(results) == [0.5, 1.0, 25, 36]
    assert failures.pop("job 1") == "ZeroDivisionError: division by zero"
    assert failures.pop("full_disk") == "can't write demo.wav: the disk is full"
    assert failures.pop("stubborn_error") == "StubbornError: noway"
    assert failures.pop("leaves") == "SystemExit: 3"
    assert "pickle" in failures.pop("result that stays")
    assert failures.pop("unreadable result").startswith("ZeroDivisionError")
    assert "cannot pickle" in failures.pop("argument that stays")
    assert failures == {}


def test_jobs_are_taken_as_there_is_room(workplace: Workplace) -> None:
    taken = []

    def made() -> Iterator[Job[Any, Any]]:
        for job in jobs_of(square, *range(100)):
            taken.append(job)
            yield job

    outcomes = run_jobs(made(), workplace)
    next(outcomes)
    assert len(taken) <= workplace.ahead + 1
    assert len(list(outcomes)) == 99


def test_the_workers_stay_for_a_second_stage(workplace: Workplace, tmp_path: Path) -> None:
    stages = []
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        meetings = [Meeting(tmp_path / name, workplace.workers)] * 8
        stages.append({outcome.value() for outcome in run_jobs(jobs_of(meet, *meetings), workplace)})
    assert stages[0] == stages[1]
    assert len(stages[0]) == workplace.workers


def test_what_is_left_early_is_stopped_and_the_place_works_on(tmp_path: Path) -> None:
    visits = [Visit(tmp_path, f"job-{number}", pause_s=0 if number == 0 else 300) for number in range(4)]
    start_s = time.monotonic()
    with Pool(2) as pool:
        for outcome in run_jobs(jobs_of(visit, *visits), pool):
            assert outcome.value() == "job-0"
            break
        assert [outcome.value() for outcome in run_jobs(jobs_of(square, 3), pool)] == [9]
    assert time.monotonic() - start_s < 200


class FragileWorkplace(ThisProcess):
    """A workplace without processes, where some numbers take everything down that is there with them."""

    ahead = 2

    def __init__(self, killers: set[int]) -> None:
        self.killers = killers
        self.there: list[Future[bytes]] = []
        self.company: list[int] = []
        self.renewed = 0

    def submit(self, package: bytes) -> Future[bytes]:
        _, number = pickle.loads(package)  # noqa: S301 - made by `run_jobs`
        future: Future[bytes] = Future()
        self.there = [*(one for one in self.there if not one.done()), future]
        kills = number in self.killers
        timer = (
            threading.Timer(0.05, self._fall)
            if kills
            else threading.Timer(0.3, self._finish, [future, package])
        )
        timer.start()
        return future

    def _finish(self, future: Future[bytes], package: bytes) -> None:
        with suppress(InvalidStateError):
            future.set_result(carry_out(package))

    def _fall(self) -> None:
        self.company.append(sum(not one.done() for one in self.there) - 1)
        for one in self.there:
            with suppress(InvalidStateError):
                one.set_exception(BrokenProcessPool())

    def judge(self, error: BaseException) -> Failure | None:
        return None if isinstance(error, BrokenProcessPool) else super().judge(error)

    def renew(self) -> None:
        self.renewed += 1


def test_a_job_does_not_fall_with_the_one_beside_it() -> None:
    workplace = FragileWorkplace(killers={1})
    outcomes = {outcome.job.argument: outcome for outcome in run_jobs(jobs_of(square, 0, 1, 2, 3), workplace)}
    failure = outcomes.pop(1).failure
    assert failure is not None
    assert "was killed 3 times, at last with no other job beside it" in failure.message
    assert {number: outcome.value() for number, outcome in outcomes.items()} == {0: 0, 2: 4, 3: 9}
    assert len(workplace.company) == 3, "it got three tries"
    assert workplace.company[-1] == 0, "the last one alone"
    assert workplace.renewed == 3


class Leaving(ThisProcess):
    """A workplace that goes away with some jobs done and the others cancelled, all in one moment."""

    ahead = 100

    def __init__(self, done: int) -> None:
        super().__init__()
        self._done = done
        self._given: list[tuple[Future[bytes], bytes]] = []

    def submit(self, package: bytes) -> Future[bytes]:
        self._given.append((Future(), package))
        return self._given[-1][0]

    def go(self) -> None:
        for index, (future, package) in enumerate(self._given):
            if index % 2 < self._done:
                future.set_result(carry_out(package))
            else:
                future.cancel()
                future.set_running_or_notify_cancel()

    def judge(self, error: BaseException) -> Failure:
        raise WorkplaceError("it has gone") from error


@pytest.mark.parametrize(("done", "told"), [(0, []), (1, [0, 4, 16])])
def test_what_is_finished_when_a_place_goes_is_told_first(done: int, told: list[int]) -> None:
    with Leaving(done) as workplace:
        threading.Timer(0.1, workplace.go).start()
        outcomes = run_jobs(jobs_of(square, *range(5)), workplace)
        assert sorted(next(outcomes).value() for _ in told) == told
        with pytest.raises(WorkplaceError, match="it has gone"):
            next(outcomes)
