"""One job: a function and what it is called with, carried to where it runs as bytes, and what came of it.

A job crosses to its worker and back as bytes that are made and read here. So whatever can't be carried (a lambda, an
open file, an error that can't be read back) is that job's own failure, in every place alike, and never takes a worker
or the other jobs with it.
"""

from __future__ import annotations

import pickle
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast

from tercet.errors import ParameterError, TercetError

__all__ = ["Failure", "Job", "Outcome", "carry_out", "failure_of", "packed", "unpacked"]

Argument = TypeVar("Argument")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Job(Generic[Argument, Result]):
    """Work that may run anywhere and more than once: a pure function and its one argument.

    Parameters
    ----------
    function
        A function at the top of a module that workers can import. It is called with `argument` alone. A worker that
        is lost takes the job's work with it, and the job runs again from its beginning: so it must not matter if
        it ran half before, and files must appear whole or not at all.
    argument
        Plain data that can be pickled.
    name
        What a person reads when it fails: ``Harbour Lanterns: echo``.

    Raises
    ------
    ParameterError
        If the function stands inside another one, or the name is empty.
    """

    function: Callable[[Argument], Result]
    argument: Argument
    name: str

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ParameterError("name must say what the job makes (got nothing)")
        place = getattr(self.function, "__qualname__", "")
        if "<" in place:
            raise ParameterError(f"function must stand at the top of its module (got {place})")


@dataclass(frozen=True, slots=True)
class Failure:
    """Why a job has no result.

    Parameters
    ----------
    message
        For a person: the text of our own errors as it stands, or kind and text of any other.
    detail
        The traceback, for a log; empty where the message says all.
    exit_code
        What the command returns if this was the worst: 1, or 3 if something outside is missing.
    """

    message: str
    detail: str = ""
    exit_code: int = 1


@dataclass(frozen=True, slots=True)
class Outcome(Generic[Argument, Result]):
    """What came of a job: a result, or a failure.

    Parameters
    ----------
    job
        The job, as it was given.
    result
        What its function returned; None if it failed.
    failure
        Why it failed; None if it didn't.
    """

    job: Job[Argument, Result]
    result: Result | None = None
    failure: Failure | None = None

    def value(self) -> Result:
        """Return the result.

        Raises
        ------
        TercetError
            If the job failed; the message names the job.
        """
        if self.failure is not None:
            error = TercetError(f"{self.job.name}: {self.failure.message}")
            error.exit_code = self.failure.exit_code
            raise error
        return cast("Result", self.result)


def packed(job: Job[Any, Any]) -> bytes:
    """Return function and argument as bytes; raises whatever pickling raises."""
    return pickle.dumps((job.function, job.argument), protocol=pickle.HIGHEST_PROTOCOL)


def carry_out(package: bytes) -> bytes:
    """Run a packed job; return its result, or its `Failure`, as bytes. What workers everywhere call.

    No error of the job leaves this function. Ctrl-C does, where the job runs in the user's own process.
    """
    try:
        function, argument = pickle.loads(package)  # noqa: S301 - made by `packed`, in the process that asks
        return pickle.dumps((function(argument), None), protocol=pickle.HIGHEST_PROTOCOL)
    except (Exception, SystemExit) as error:  # noqa: BLE001 - one job that fails must not stop the others
        return pickle.dumps((None, failure_of(error)), protocol=pickle.HIGHEST_PROTOCOL)


def unpacked(job: Job[Argument, Result], package: bytes) -> Outcome[Argument, Result]:
    """Return what came of a job from the bytes that `carry_out` returned."""
    try:
        result, failure = pickle.loads(package)  # noqa: S301 - made by `carry_out`, by our own worker
    except Exception as error:  # noqa: BLE001 - a result may raise anything when it is read
        return Outcome(job, failure=failure_of(error))
    return Outcome(job, result, failure)


def failure_of(error: BaseException) -> Failure:
    """Return an error as a failure: our own with their text, others with kind, text and traceback."""
    if isinstance(error, TercetError):
        return Failure(str(error), exit_code=error.exit_code)
    kind, text = type(error).__name__, str(error)
    return Failure(f"{kind}: {text}" if text else kind, "".join(traceback.format_exception(error)))
