"""A real Dask scheduler and its workers, each a program of its own, started by their command line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["ROOT", "Programs", "dask_programs"]

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 60.0


@dataclass
class Programs:
    """What was started."""

    address: str
    folder: Path
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def start_workers(self, number: int) -> None:
        """Start workers with one thread each; they join by themselves."""
        for _ in range(number):
            name = f"worker-{len(self.workers)}"
            options = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--name", name)
            place = ("--local-directory", str(self.folder))
            self.workers.append(_start(self.folder, name, "worker", self.address, *options, *place))

    def log(self) -> str:
        return "\n".join(path.read_text(errors="replace") for path in sorted(self.folder.glob("*.log")))


@contextmanager
def dask_programs(
    folder: Path, workers: int, environment: Mapping[str, str] | None = None
) -> Iterator[Programs]:
    """Start a scheduler on a free port and workers for it; end them all by id afterwards."""
    told = folder / "scheduler.json"
    with ExitStack() as stack:
        options = (
            "--host",
            "127.0.0.1",
            "--port",
            "0",
            "--no-dashboard",
            "--dashboard-address",
            "127.0.0.1:0",
            "--scheduler-file",
            str(told),
        )
        scheduler = _start(folder, "scheduler", "scheduler", *options, environment=environment)
        programs = Programs("", folder, scheduler)
        stack.callback(_end, programs)
        end_s = time.monotonic() + PATIENCE_S
        while not programs.address:
            assert scheduler.poll() is None, programs.log()
            assert time.monotonic() < end_s, programs.log()
            time.sleep(0.05)
            if told.exists() and (text := told.read_text()).strip().endswith("}"):
                programs.address = json.loads(text)["address"]
        programs.start_workers(workers)
        yield programs


def _start(
    folder: Path, name: str, *arguments: str, environment: Mapping[str, str] | None = None
) -> subprocess.Popen[bytes]:
    with (folder / f"{name}.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "dask", *arguments],
            cwd=folder,
            env={
                **os.environ,
                "PYTHONPATH": str(ROOT),
                "DASK_TEMPORARY_DIRECTORY": str(folder),
                **(environment or {}),
            },
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
        )


def _end(programs: Programs) -> None:
    for program in (*programs.workers, programs.scheduler):
        program.kill()
        program.wait()
