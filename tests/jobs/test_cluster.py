"""Jobs on a real scheduler with real workers, some of which are killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tercet.errors import WorkplaceError
from tercet.jobs import Workplace, open_workplace, run_jobs
from tercet.jobs.cluster import Cluster
from tests.jobs.dask_programs import ROOT, Programs, dask_programs
from tests.jobs.work import (
    Meeting,
    Visit,
    divided,
    full_disk,
    jobs_of,
    meet,
    square,
    stubborn_error,
    unreadable_result,
    visit,
    whose,
)


@pytest.fixture(scope="module")
def programs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Programs]:
    with dask_programs(tmp_path_factory.mktemp("dask"), workers=2) as started:
        yield started


@pytest.fixture(scope="module")
def cluster(programs: Programs) -> Iterator[Workplace]:
    with cluster_of(programs) as place:
        yield place


def cluster_of(programs: Programs) -> Workplace:
    """Return the cluster when all workers have joined, which takes a while on a machine with much to do."""
    from tercet.jobs import cluster as module

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "ANSWER_S", 60.0)
        with Cluster(programs.address) as place:
            assert place._client is not None
            place._client.wait_for_workers(len(programs.workers), timeout=60)
    return Cluster(programs.address)


def test_every_job_has_one_outcome_and_both_workers_work(
    programs: Programs, cluster: Workplace, tmp_path: Path
) -> None:
    meetings = [Meeting(tmp_path, len(programs.workers))] * 12
    outcomes = list(run_jobs(jobs_of(meet, *meetings), cluster))
    assert {outcome.value() for outcome in outcomes} == {program.pid for program in programs.workers}
    assert len({outcome.job.name for outcome in outcomes}) == 12


def test_equal_jobs_are_all_run(cluster: Workplace, tmp_path: Path) -> None:
    same = Visit(tmp_path, "job")
    assert [outcome.value() for outcome in run_jobs(jobs_of(visit, same, same, same), cluster)] == ["job"] * 3
    assert len({path.name for path in tmp_path.iterdir()}) >= 2, (
        "each left a mark, two at once may leave the same"
    )


def test_a_job_that_fails_does_not_stop_the_others(cluster: Workplace) -> None:
    jobs = [
        *jobs_of(divided, 0, 2),
        *jobs_of(full_disk, 1),
        *jobs_of(stubborn_error, 1),
        *jobs_of(unreadable_result, 1),
    ]
    outcomes = {outcome.job: outcome for outcome in run_jobs(jobs, cluster)}
    told = [failure.message if (failure := outcomes[job].failure) else "" for job in jobs]
    assert told[:4] == [
        "ZeroDivisionError: division by zero",
        "",
        "can't write demo.wav: the disk is full",
        "StubbornError: noway",
    ]
    assert told[4].startswith("ZeroDivisionError")


def test_what_is_left_early_is_cancelled_and_the_cluster_works_on(cluster: Workplace, tmp_path: Path) -> None:
    visits = [Visit(tmp_path, f"job-{number}", pause_s=0.3) for number in range(40)]
    for _ in run_jobs(jobs_of(visit, *visits), cluster):
        break
    assert [outcome.value() for outcome in run_jobs(jobs_of(square, 5), cluster)] == [25]
    assert len(list(tmp_path.iterdir())) < 20


def test_an_error_beside_the_jobs_cancels_them_and_leaves_the_scheduler_running(programs: Programs) -> None:
    def interrupted() -> None:
        with Cluster(programs.address) as place:
            for _ in run_jobs(jobs_of(whose, 0, *[0.2] * 50), place):
                raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    with Cluster(programs.address) as place:
        assert [outcome.value() for outcome in run_jobs(jobs_of(square, 5), place)] == [25]
    assert programs.scheduler.poll() is None


def test_a_worker_with_another_tercet_is_refused(programs: Programs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.jobs.cluster.__version__", "99.0")
    with pytest.raises(
        WorkplaceError, match=r"the worker at tcp://\S+ has Tercet \S+, and this computer has Tercet 99.0"
    ):
        Cluster(programs.address).__enter__()


def test_a_worker_without_tercet_is_refused(programs: Programs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.jobs.cluster.VERSION", "no_such_package:__version__")
    with pytest.raises(WorkplaceError, match=r"the worker at tcp://\S+ can't load Tercet"):
        Cluster(programs.address).__enter__()


def test_a_worker_killed_in_the_middle_loses_nothing(tmp_path: Path) -> None:
    (tmp_path / "marks").mkdir()
    visits = [Visit(tmp_path / "marks", f"job-{number}", pause_s=0.2) for number in range(10)]
    with dask_programs(tmp_path, workers=2) as programs, cluster_of(programs) as place:
        outcomes = []
        for outcome in run_jobs(jobs_of(visit, *visits), place):
            outcomes.append(outcome.value())
            if len(outcomes) == 2:
                os.kill(programs.workers[0].pid, signal.SIGKILL)
    assert sorted(outcomes) == sorted(one.name for one in visits)


def test_a_job_that_kills_every_worker_is_named(tmp_path: Path) -> None:
    (tmp_path / "marks").mkdir()
    visits = [Visit(tmp_path / "marks", f"job-{number}", kills=9 * (number == 0)) for number in range(6)]
    # After the first loss already, so that one worker is left for the others.
    environment = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
    with dask_programs(tmp_path, 2, environment) as programs, cluster_of(programs) as place:
        outcomes = {outcome.job.name: outcome for outcome in run_jobs(jobs_of(visit, *visits), place)}
    failure = outcomes["job 0"].failure
    assert failure is not None
    assert "were killed, 1 in a row; too little memory is the usual cause" in failure.message
    assert len(outcomes) == 6


def test_a_scheduler_that_goes_is_told_in_a_sentence_and_ends_the_run(tmp_path: Path) -> None:
    (tmp_path / "work").mkdir()
    with dask_programs(tmp_path, workers=1) as programs:
        cluster_of(programs)
        command = [sys.executable, "-m", "tests.jobs.busy", str(tmp_path / "work"), programs.address]
        with subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        ) as busy:
            while not list((tmp_path / "work").iterdir()):
                assert busy.poll() is None
                time.sleep(0.05)
            programs.scheduler.kill()
            said, _ = busy.communicate(timeout=20)
    assert busy.returncode == 3
    assert said == (
        f"the Dask scheduler at {programs.address} has gone; what is finished stays, and the same command goes on from "
        "there\n"
    )


def test_a_scheduler_without_workers_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.jobs.cluster.ANSWER_S", 1.0)
    with (
        dask_programs(tmp_path, workers=0) as programs,
        pytest.raises(
            WorkplaceError, match=rf"has no worker: start one with «dask worker {programs.address} "
        ),
    ):
        Cluster(programs.address).__enter__()


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:1", "nonsense", "carrier-pigeon://roof:1", "tcp://127.0.0.1", ""]
)
def test_where_nobody_answers_is_told_at_once(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.jobs.cluster.ANSWER_S", 0.5)
    with (
        pytest.raises(WorkplaceError, match=rf"no Dask scheduler answers at {address}") as caught,
        open_workplace(cluster=address),
    ):
        pass
    assert caught.value.exit_code == 3


def test_another_program_that_answers_is_no_scheduler() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            caller, _ = server.accept()
            with caller:
                caller.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")

        other = threading.Thread(target=answer)
        other.start()
        address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        with pytest.raises(WorkplaceError, match="no Dask scheduler answers"):
            Cluster(address).__enter__()
        other.join()


def test_without_dask_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(
        WorkplaceError, match=r"needs Dask, which isn't installed .*pip install 'tercet\[cluster\]'"
    ):
        Cluster("tcp://127.0.0.1:1").__enter__()


def test_a_cluster_must_be_entered() -> None:
    with pytest.raises(WorkplaceError, match="must be entered first"):
        Cluster("tcp://127.0.0.1:1").submit(b"")
