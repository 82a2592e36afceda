"""Processes that are killed, stopped, left behind: with real processes and real signals."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import psutil
import pytest

from tercet.errors import WorkplaceError
from tercet.jobs import Job, Outcome, run_jobs
from tercet.jobs import pool as worker_side
from tercet.jobs.pool import Pool
from tercet.threads import THREAD_SETTINGS
from tests.jobs.work import (
    Visit,
    imported,
    interrupted,
    jobs_of,
    settings,
    square,
    threads_of_numpy,
    visit,
    whose,
)

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 50.0
"""On a busy machine; jobs that are to be stopped last a minute."""


def wait_until(happens: Callable[[], bool]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not happens():
        assert time.monotonic() < end_s, "waited in vain"
        time.sleep(0.02)


def none_alive(pids: tuple[int, ...]) -> bool:
    return not any(map(alive, pids))


def alive(pid: int) -> bool:
    try:
        return bool(psutil.Process(pid).status() != psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return False


def marks(folder: Path) -> list[tuple[str, int]]:
    """Return who was visited by which process, from the marks of `visit`."""
    parts = [path.name.split(".") for path in folder.iterdir()]
    return sorted((name, int(pid)) for name, _, pid in parts)


# Workers that are lost


def test_a_worker_killed_in_the_middle_loses_nothing(tmp_path: Path) -> None:
    visits = [Visit(tmp_path, f"job-{number}", pause_s=0.3) for number in range(6)]
    outcomes: list[Outcome[Visit, str]] = []
    with Pool(2) as pool:
        for outcome in run_jobs(jobs_of(visit, *visits), pool):
            if not outcomes:
                # Two more are being worked on by now, or will be at once.
                wait_until(lambda: len(marks(tmp_path)) >= 3)
                os.kill(marks(tmp_path)[-1][1], signal.SIGKILL)
            outcomes.append(outcome)
    assert sorted(outcome.value() for outcome in outcomes) == [one.name for one in visits]
    assert len(marks(tmp_path)) > len(visits), "nothing was run again"


def test_a_job_that_kills_its_worker_once_gets_its_result(tmp_path: Path) -> None:
    visits = [Visit(tmp_path, f"job-{number}", kills=number % 2) for number in range(4)]
    with Pool(2) as pool:
        outcomes = list(run_jobs(jobs_of(visit, *visits), pool))
    assert sorted(outcome.value() for outcome in outcomes) == [one.name for one in visits]


def test_a_job_that_kills_every_worker_is_named_and_the_others_are_done(tmp_path: Path) -> None:
    visits = [Visit(tmp_path, f"job-{number}", pause_s=0.05, kills=9 * (number == 1)) for number in range(8)]
    with Pool(2) as pool:
        outcomes = {outcome.job.argument.name: outcome for outcome in run_jobs(jobs_of(visit, *visits), pool)}
    assert len(outcomes) == 8
    failure = outcomes.pop("job-1").failure
    assert failure is not None
    assert "was killed 3 times, at last with no other job beside it; too little memory" in failure.message
    assert all(outcome.failure is None for outcome in outcomes.values())
    assert visits[1].tries() == 3


def test_a_pool_that_broke_between_two_calls_is_renewed() -> None:
    with Pool(2) as pool:
        [first] = run_jobs(jobs_of(whose, 0), pool)
        os.kill(first.value(), signal.SIGKILL)
        wait_until(lambda: not alive(first.value()))
        # The executor needs a moment to learn of it; then it takes no more work.
        wait_until(lambda: refuses(pool))
        assert [outcome.value() for outcome in run_jobs(jobs_of(square, 3), pool)] == [9]


def refuses(pool: Pool) -> bool:
    try:
        pool.submit(b"").cancel()
    except BrokenProcessPool:
        return True
    return False


# The end


def start_busy(folder: Path) -> tuple[subprocess.Popen[bytes], list[int]]:
    """Start a program whose two workers are at their jobs; return it and them."""
    program = subprocess.Popen(
        [sys.executable, "-m", "tests.jobs.busy", str(folder), "2"],
        cwd=ROOT,
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    wait_until(lambda: len(list(folder.glob(".half-*"))) == 2)
    return program, [int(path.name.removeprefix(".half-")) for path in folder.glob(".half-*")]


@pytest.fixture
def busy(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], list[int]]]:
    program, workers = start_busy(tmp_path)
    with program:
        yield program, workers
        for pid in (program.pid, *workers):
            if alive(pid):
                os.kill(pid, signal.SIGKILL)


def test_ctrl_c_stops_everything_and_cleans_up(
    tmp_path: Path, busy: tuple[subprocess.Popen[bytes], list[int]]
) -> None:
    program, workers = busy
    os.killpg(program.pid, signal.SIGINT)  # as a terminal does: to all processes of the group
    assert program.wait(PATIENCE_S) == 130
    assert program.stdout is not None
    assert program.stdout.read() == b"", "workers say nothing"
    assert not any(map(alive, workers))
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_while_workers_start_leaves_no_noise(tmp_path: Path) -> None:
    for pause_s in (0.3, 0.4, 0.5):
        with subprocess.Popen(
            [sys.executable, "-m", "tests.jobs.busy", str(tmp_path), "2"],
            cwd=ROOT,
            start_new_session=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        ) as program:
            children: list[psutil.Process] = []
            wait_until(lambda: bool(psutil.Process(program.pid).children()))
            time.sleep(pause_s - 0.3)
            children = psutil.Process(program.pid).children()
            os.killpg(program.pid, signal.SIGINT)
            assert program.wait(PATIENCE_S) == 130
            assert program.stdout is not None
            assert program.stdout.read() == b""
        wait_until(partial(none_alive, tuple(child.pid for child in children)))


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_the_process_that_started_them(
    tmp_path: Path, busy: tuple[subprocess.Popen[bytes], list[int]], number: signal.Signals
) -> None:
    program, workers = busy
    os.kill(program.pid, number)
    assert program.wait(PATIENCE_S) == -number
    wait_until(lambda: not any(map(alive, workers)))
    assert list(tmp_path.iterdir()) == []


def test_nobody_is_left_when_the_pool_is_left() -> None:
    with Pool(2) as pool:
        pids = {outcome.value() for outcome in run_jobs(jobs_of(whose, 0.1, 0.1), pool)}
        assert all(map(alive, pids))
    assert not any(map(alive, pids))


def test_an_error_beside_the_jobs_ends_the_workers() -> None:
    pids: list[int] = []

    def trip() -> None:
        with Pool(1) as pool:
            for outcome in run_jobs(jobs_of(whose, 0, 60), pool):
                pids.append(outcome.value())
                raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        trip()
    assert len(pids) == 1
    assert not alive(pids[0])


# What a worker is


def test_workers_start_light_and_keep_to_one_thread_and_to_their_work(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for setting in THREAD_SETTINGS:
        monkeypatch.delenv(setting, raising=False)
    with Pool(1) as pool:
        [modules] = run_jobs(jobs_of(imported, 0), pool)
        [environment] = run_jobs(jobs_of(settings, THREAD_SETTINGS), pool)
        [threads] = run_jobs(jobs_of(threads_of_numpy, 0), pool)
        [went_on] = run_jobs(jobs_of(interrupted, 0), pool)
    assert {"numpy", "distributed", "fsspec", "rich", "soundfile"} & set(modules.value()) == set()
    assert set(environment.value().values()) == {"1"}
    # The main one and the lifeline.
    assert threads.value() == 2
    assert went_on.value() == "went on"


def test_a_worker_that_is_stopped_before_it_began_says_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    ours.close()
    late = context.Process(target=worker_side.begin, args=(theirs,))
    late.start()
    late.join(PATIENCE_S)
    assert late.exitcode == 1
    assert capfd.readouterr().err == ""


def test_a_worker_that_cannot_begin_is_the_places_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.jobs.pool.begin", os._exit)
    with pytest.raises(WorkplaceError, match="end before they can work: try --jobs 1"), Pool(2) as pool:
        list(run_jobs(jobs_of(square, 1, 2, 3), pool))


def test_no_room_for_processes_is_the_places_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr("multiprocessing.util.spawnv_passfds", refused)
    with pytest.raises(WorkplaceError, match=r"can't start 2 processes here .*try fewer"), Pool(2) as pool:
        list(run_jobs(jobs_of(square, 1), pool))


def test_workers_that_were_got_ready_do_the_work(tmp_path: Path) -> None:
    """They start at once, and the jobs that come run in them."""
    ready, asked = tmp_path / "ready", tmp_path / "asked"
    ready.mkdir()
    asked.mkdir()
    with Pool(2) as pool:
        pool.get_ready(Job(visit, Visit(ready, "ready", 0.3), "ready"), 9)
        wait_until(lambda: len(marks(ready)) == 2)
        started = {pid for _, pid in marks(ready)}
        assert len(started) == 2
        jobs = [Job(visit, Visit(asked, name, 0.0), name) for name in ("a", "b")]
        assert all(outcome.failure is None for outcome in run_jobs(jobs, pool))
    assert {pid for _, pid in marks(asked)} <= started


def test_no_more_workers_are_got_ready_than_there_will_be_jobs(tmp_path: Path) -> None:
    with Pool(3) as pool:
        pool.get_ready(Job(visit, Visit(tmp_path, "ready"), "ready"), 1)
        wait_until(lambda: len(marks(tmp_path)) == 1)
    assert len(marks(tmp_path)) == 1


def test_a_script_needs_no_guard(tmp_path: Path) -> None:
    """Workers load what their jobs name and leave alone the program that asks, which would start all over in each."""
    script = tmp_path / "script.py"
    script.write_text(
        "from tercet.jobs import run_jobs\n"
        "from tercet.jobs.pool import Pool\n"
        "from tests.jobs.work import jobs_of, square\n"
        "with Pool(2) as pool:\n"
        "    print(sorted(outcome.result for outcome in run_jobs(jobs_of(square, 2, 3, 4), pool)))\n",
        encoding="utf-8",
    )
    paths = os.pathsep.join([str(ROOT), str(ROOT / "render")])
    done = subprocess.run(
        [sys.executable, script],
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout, done.stderr) == ("[4, 9, 16]\n", "")
