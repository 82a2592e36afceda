"""Jobs for the tests: functions at the top of a module, as workers in other processes need them."""

from __future__ import annotations

import os
import signal
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Never

from tercet.errors import Mistake, OutputError, SongError
from tercet.jobs import Job


def jobs_of(function: Any, *arguments: Any) -> list[Job[Any, Any]]:
    return [Job(function, argument, f"job {number}") for number, argument in enumerate(arguments)]


def square(number: int) -> int:
    return number * number


def whose(pause_s: float) -> int:
    """Take a while; return the process."""
    time.sleep(pause_s)
    return os.getpid()


def misspelt_song(_: object) -> Never:
    raise SongError("waltz.yaml", (Mistake("this bar is too long", line=3),))


def full_disk(_: object) -> Never:
    raise OutputError("can't write demo.wav: the disk is full")


def divided(number: int) -> float:
    return 1 / number


def leaves(code: int) -> Never:
    sys.exit(code)


class StubbornError(Exception):
    """Can be pickled, but not read back: it wants two arguments and pickle has one."""

    def __init__(self, one: str, two: str) -> None:
        super().__init__(one + two)


def stubborn_error(_: object) -> Never:
    raise StubbornError("no", "way")


class Unreadable:
    """Can be carried, but reading it divides by zero."""

    def __reduce__(self) -> tuple[Any, ...]:
        return divmod, (1, 0)


def unreadable_result(_: object) -> Unreadable:
    return Unreadable()


def result_that_stays(_: object) -> object:
    return lambda: None


def imported(_: object) -> list[str]:
    return sorted({name.partition(".")[0] for name in sys.modules})


def settings(names: tuple[str, ...]) -> dict[str, str | None]:
    return {name: os.environ.get(name) for name in names}


def threads_of_numpy(_: object) -> int:
    """Multiply matrices; return how many threads this process has afterwards."""
    import numpy as np

    one = np.ones((600, 600))
    assert (one @ one)[0, 0] == 600
    import psutil

    return int(psutil.Process().num_threads())


def interrupted(_: object) -> str:
    """Do to this process what Ctrl-C does."""
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(0.05)
    return "went on"


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit to a folder, where every try leaves a mark."""

    folder: Path
    name: str
    pause_s: float = 0.0
    kills: int = 0
    """How many tries end by kill -9."""

    def tries(self) -> int:
        return len(list(self.folder.glob(f"{self.name}.*")))


def visit(what: Visit) -> str:
    """Leave a mark, stay a while; return the name, or kill this process."""
    tries = what.tries()
    (what.folder / f"{what.name}.{tries}.{os.getpid()}").touch()
    time.sleep(what.pause_s)
    if tries < what.kills:
        os.kill(os.getpid(), signal.SIGKILL)
    return what.name


@dataclass(frozen=True, slots=True)
class Meeting:
    """A folder in which so many processes meet; `whose` they are stands in its names."""

    folder: Path
    processes: int


def meet(what: Meeting) -> int:
    """Wait until other processes have come too, a minute at most; return which this one is."""
    (what.folder / str(os.getpid())).touch()
    end_s = time.monotonic() + 60
    while len(list(what.folder.iterdir())) < what.processes and time.monotonic() < end_s:
        time.sleep(0.01)
    return os.getpid()


def clean_work(folder: Path) -> None:
    """Work for a minute on a hidden file that goes if the work is broken off."""
    hidden = folder / f".half-{os.getpid()}"
    try:
        hidden.touch()
        time.sleep(60)
    finally:
        hidden.unlink()
