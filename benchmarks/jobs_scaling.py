"""How much faster two workers are than one, and Dask's than our pool's; see README.md.

Run as ``.venv/bin/python benchmarks/jobs_scaling.py``. The jobs compute with numpy and write nothing, so this measures
the places where jobs run (`tercet.jobs`), not kits. Nothing else should run meanwhile: two busy processors are two.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from measuring import Aims, NothingMadeError, asked, counted, environment, parser_of

from tercet.jobs import Job, Workplace, open_workplace, run_jobs

JOB_S = 0.3
TWO_TO_ONE = 1.7
"""Aim: two processes are at least so many times as fast as one."""

LOCAL = ("--host", "127.0.0.1", "--port", "0", "--dashboard-address", "127.0.0.1:0")

DASK_TO_POOL = 0.85
"""Aim: two Dask workers reach at least this share of the pool's speed."""


def ring(rounds: int) -> float:
    """Filter noise, over and over, within one thread: what a job does, without reading or writing."""
    import numpy as np

    noise = np.random.default_rng(rounds).standard_normal(1 << 13)
    for _ in range(rounds):
        spectrum = np.fft.rfft(noise)
        noise = np.fft.irfft(spectrum / (1 + np.abs(spectrum)))
    return float(noise[0])


def main() -> int:
    """Time the places, print the table, and return 1 if an aim is missed."""
    parser = parser_of("Compare one process, two, and two Dask workers.", 10)
    parser.add_argument("--jobs", type=int, default=8, help="jobs in a round (default 8)")
    parser.add_argument(
        "--wait", action="store_true", help="jobs wait: what the places cost on a busy machine"
    )
    given = asked(parser)
    work: Job[Any, Any] = (
        Job(time.sleep, JOB_S, "wait") if given.wait else Job(ring, _rounds_that_take(JOB_S), "ring")
    )
    figures: dict[str, list[float]] = {}
    with (
        tempfile.TemporaryDirectory() as folder,
        dask_cluster(Path(folder), workers=2) as address,
        open_workplace(1) as one,
        open_workplace(2) as two,
        open_workplace(cluster=address) as dask,
    ):
        places = {"this process": one, "two processes": two, "two Dask workers": dask}
        for place in places.values():
            _seconds(place, Job(ring, 1, "start"), 4)
        # The places take turns, so that a machine that slows down slows all of them.
        for name in [*places] * given.rounds:
            figures.setdefault(name, []).append(_seconds(places[name], work, given.jobs))
    counted("jobs", given.jobs * sum(len(each) for each in figures.values()))
    print(f"{given.jobs} jobs of about {JOB_S} s, {given.rounds} rounds, {os.cpu_count()} processors")
    print(f"{'':<18} {'least s':>8} {'median s':>8}")
    for name, taken_s in figures.items():
        print(f"{name:<18} {min(taken_s):>8.2f} {statistics.median(taken_s):>8.2f}")
    # The least is what a place can do; the rest of a round is what else the machine had to do.
    two_to_one = min(figures["this process"]) / min(figures["two processes"])
    dask_to_pool = min(figures["two processes"]) / min(figures["two Dask workers"])
    aims = Aims(judged=not given.short)
    aims.say("two processes are so many times as fast as one", two_to_one, least=TWO_TO_ONE)
    aims.say("two Dask workers reach this part of the pool's speed", dask_to_pool, least=DASK_TO_POOL)
    return aims.exit_code


def _rounds_that_take(length_s: float) -> int:
    """Return how many rounds of `ring` take so long on this machine, alone on a processor."""
    ring(1)
    start_s = time.perf_counter()
    ring(200)
    return max(1, round(200 * length_s / (time.perf_counter() - start_s)))


def _seconds(workplace: Workplace, work: Job[Any, Any], number: int) -> float:
    """Return how long a workplace takes for a number of equal jobs; its workers have started."""
    start_s = time.perf_counter()
    results = [outcome.value() for outcome in run_jobs([work] * number, workplace)]
    took_s = time.perf_counter() - start_s
    if len(results) != number:
        raise NothingMadeError(f"{len(results)} of {number} jobs were done")
    return took_s


@contextmanager
def dask_cluster(folder: Path, workers: int) -> Iterator[str]:
    """Start a scheduler and workers by their command line, each a process of its own; give the address."""
    told = folder / "scheduler.json"
    programs = [_start(folder, "scheduler", *LOCAL, "--scheduler-file", told)]
    try:
        while not (told.exists() and told.read_text().strip().endswith("}")):
            time.sleep(0.05)
        address: str = json.loads(told.read_text())["address"]
        programs += [
            _start(folder, "worker", address, "--nthreads", "1", "--no-nanny") for _ in range(workers)
        ]
        _wait_for_workers(address, workers)
        yield address
    finally:
        for program in reversed(programs):
            program.kill()
            program.wait()


def _start(folder: Path, kind: str, *arguments: str | Path) -> subprocess.Popen[bytes]:
    """Start one of Dask's programs, in a folder for what it leaves."""
    return subprocess.Popen(
        [sys.executable, "-m", "dask", kind, *map(str, arguments), "--no-dashboard"],
        cwd=folder,
        env={
            **environment(),
            "DASK_TEMPORARY_DIRECTORY": str(folder),
        },
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _wait_for_workers(address: str, workers: int) -> None:
    """Wait until all workers have joined, so that none of the rounds runs with fewer."""
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(workers, timeout=60)


if __name__ == "__main__":
    # Workers find a job's function by its module's name, and this one is called `__main__` only here.
    from jobs_scaling import main as main_of_module

    sys.exit(main_of_module())
