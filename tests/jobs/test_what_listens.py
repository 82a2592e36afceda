"""The recipe for one computer in docs/many-songs.md: what it starts can't be reached from another computer."""

from __future__ import annotations

import re
import shlex
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psutil
import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "many-songs.md"
WORKERS = 2
PATIENCE_S = 90.0


def recipe() -> list[list[str]]:
    """Return the commands under the sentence that says nothing can be reached, as words."""
    block = PAGE.read_text(encoding="utf-8").partition("nothing can be reached from another one:")[2]
    console = block.partition("```console\n")[2].partition("```")[0]
    return [shlex.split(line.removeprefix("$ ")) for line in console.splitlines()]


def free_ports(number: int) -> list[int]:
    taken = [socket.create_server(("127.0.0.1", 0)) for _ in range(number)]
    ports = [int(each.getsockname()[1]) for each in taken]
    for each in taken:
        each.close()
    return ports


@contextmanager
def started(folder: Path, commands: list[list[str]]) -> Iterator[list[psutil.Process]]:
    """Run the commands with ports that are free; end them, and what they started, by id."""
    scheduler_port, dashboard_port = free_ports(2)
    programs = []
    try:
        for words in commands:
            told = [
                word.replace("8786", str(scheduler_port)).replace("8787", str(dashboard_port))
                for word in words
            ]
            if told[1] == "scheduler":
                told += ["--port", str(scheduler_port)]
            programs.append(
                psutil.Popen(
                    [sys.executable, "-m", *told],
                    cwd=folder,
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            )
        yield programs
    finally:
        all_of_them = [one for program in programs for one in (*program.children(recursive=True), program)]
        for one in all_of_them:
            with suppress(psutil.NoSuchProcess):
                one.kill()
        psutil.wait_procs(all_of_them)


def listening(programs: list[psutil.Process]) -> dict[int, set[str]]:
    """Return the addresses on which each process listens."""
    found = {}
    for program in programs:
        for one in (program, *program.children(recursive=True)):
            with suppress(psutil.NoSuchProcess):  # a short-lived one has gone meanwhile
                found[one.pid] = {
                    connection.laddr.ip
                    for connection in one.net_connections()
                    if connection.status == psutil.CONN_LISTEN
                }
    return {pid: addresses for pid, addresses in found.items() if addresses}


def all_listen(programs: list[psutil.Process]) -> dict[int, set[str]]:
    """Wait until scheduler, the starter of workers, and every worker listen."""
    end_s = time.monotonic() + PATIENCE_S
    while len(found := listening(programs)) < 2 + WORKERS:
        assert time.monotonic() < end_s, found
        time.sleep(0.2)
    return found


def test_the_recipe_for_one_computer_listens_there_alone(tmp_path: Path) -> None:
    *dask, tercet = recipe()
    assert [words[:2] for words in dask] == [["dask", "scheduler"], ["dask", "worker"]]
    assert tercet[:2] == ["tercet", "kit"]
    with started(tmp_path, dask) as programs:
        found = all_listen(programs)
    assert set().union(*found.values()) == {"127.0.0.1"}


@pytest.mark.parametrize("left_out", ["--host", "--dashboard-address"])
def test_without_either_option_something_listens_everywhere(tmp_path: Path, left_out: str) -> None:
    *dask, _ = recipe()
    for words in dask:
        at = words.index(left_out)
        del words[at : at + 2]
    if left_out == "--dashboard-address":
        dask[0] += [left_out, ":8787"]  # the usual one, on a port that is free
    with started(tmp_path, dask) as programs:
        found = all_listen(programs)
    assert set().union(*found.values()) - {"127.0.0.1"}


def test_every_command_of_the_page_says_where_it_listens() -> None:
    commands = re.findall(r"^ *\$ (dask .*)$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(commands) == 4
    for command in commands:
        words = command.split()
        assert "--host" in words
        assert words[words.index("--dashboard-address") + 1].startswith("127.0.0.1:")
