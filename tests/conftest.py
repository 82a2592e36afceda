"""What holds for every test: hypothesis without a clock, signals that are heeded, and no skip where CI runs."""

from __future__ import annotations

import os
import signal
import sys
import tempfile
from collections.abc import Iterator
from typing import Any

import hypothesis
import pytest

from tercet.threads import keep_to_one_thread

keep_to_one_thread()
os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="tercet-tests-")
"""What is measured once for each sound is kept here, apart from the user's own cache."""

sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
"""Hundreds of tests start a command, which takes a second longer where each must compile all modules anew."""

IN_CI = bool(os.environ.get("CI"))

hypothesis.settings.register_profile(
    "here", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow], print_blob=True
)
hypothesis.settings.register_profile(
    "ci",
    hypothesis.settings.get_profile("here"),
    derandomize=True,
    database=None,
    # A failing example is printed as it was found: making it small takes minutes, and is done where it is mended.
    phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
)
hypothesis.settings.load_profile("ci" if IN_CI else "here")


@pytest.fixture(autouse=True, scope="session")
def kits_are_made_here() -> Iterator[None]:
    """A kit whose test asks for no ``--jobs`` is made in the process of the test: others have the other processors.

    To start two more processes works longer than what a short song gives them to do.
    """
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr("tercet.jobs.workplaces.cores", lambda: 1)
        yield


@pytest.fixture(autouse=True, scope="session")
def signals_are_heeded() -> Iterator[None]:
    """A shell's background jobs ignore Ctrl-C, those under ``nohup`` a hang-up; tests and what they start never do."""
    usual: dict[int, Any] = {signal.SIGINT: signal.default_int_handler, signal.SIGTERM: signal.SIG_DFL}
    before = {number: signal.signal(number, handler) for number, handler in usual.items()}
    blocked = (
        signal.pthread_sigmask(signal.SIG_UNBLOCK, usual) if hasattr(signal, "pthread_sigmask") else set()
    )
    yield
    for number, handler in before.items():
        signal.signal(number, handler)
    if blocked:
        signal.pthread_sigmask(signal.SIG_SETMASK, blocked)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the run if a test was skipped where CI runs: a test that is skipped shows nothing."""
    terminal = session.config.pluginmanager.get_plugin("terminalreporter")
    if IN_CI and terminal is not None and terminal.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say why the run failed when no test did."""
    if IN_CI and terminalreporter.stats.get("skipped"):
        terminalreporter.write_line("CI allows no skipped test: let it run, or remove it", red=True)
