"""Where the jobs of a kit run: the same bytes everywhere, and nothing lost with a worker."""

from __future__ import annotations

import json
import os
import pty
import re
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fsspec
import pytest

from tercet.tracks.facts import TrackFacts
from tercet.tracks.track_files import SetOrder, write_track
from tests.cli.conftest import Ran
from tests.cli.test_kit_stopped import ROOT, command, contents, visible
from tests.jobs.dask_programs import dask_programs

Run = Callable[..., Ran]

TRACKS = ("--tracks", "demo,echo,only-melody")


@pytest.fixture
def alone(song: Path, tmp_path: Path, tercet: Run) -> dict[str, bytes]:
    """What one process makes."""
    assert tercet("kit", song, "-o", tmp_path / "alone", "--jobs", "1", *TRACKS).code == 0
    return contents(tmp_path / "alone")


def test_two_processes_make_what_one_makes_and_lose_nothing_with_a_worker(
    song: Path, tmp_path: Path, alone: dict[str, bytes]
) -> None:
    folder = tmp_path / "two"
    arguments = command("kit", song, "-o", folder, "--jobs", "2", *TRACKS)
    with subprocess.Popen(
        arguments, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as process:
        killed = False
        deadline_s = time.monotonic() + 300
        while not killed and process.poll() is None and time.monotonic() < deadline_s:
            workers = _workers(process.pid)
            if len(workers) == 2 and list(folder.rglob("lock")):
                time.sleep(0.4)  # they have begun: Python is up, or a first batch is being played
                os.kill(workers[0], signal.SIGKILL)
                killed = True
            time.sleep(0.002)
        said = process.communicate()[1]
    assert killed
    assert process.returncode == 0, said
    assert contents(folder) == alone


def _workers(pid: int) -> list[int]:
    """Return the processes that carry out jobs, not the one that looks after what they share."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [
        int(child)
        for child in children
        if b"resource_tracker" not in Path(f"/proc/{child}/cmdline").read_bytes()
    ]


def test_an_address_gets_what_a_folder_gets(song: Path, tercet: Run, alone: dict[str, bytes]) -> None:
    system = fsspec.filesystem("memory")
    kit = ("kit", song, "-o", "memory://school/kits", "--jobs", "1", *TRACKS)
    ran = tercet(*kit)
    assert ran.code == 0, ran.err
    found = system.find("/school/kits")
    assert {path.removeprefix("/school/kits/"): system.cat_file(path) for path in found} == alone
    assert "memory://school/kits/two-kettles/" in ran.out
    assert "none made now" in tercet(*kit).err
    system.rm("/school", recursive=True)


def test_a_cluster_makes_what_one_process_makes(
    song: Path, tmp_path: Path, alone: dict[str, bytes], tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tercet.jobs.cluster.ANSWER_S", 60.0)
    (tmp_path / "dask").mkdir()
    with dask_programs(tmp_path / "dask", workers=2) as programs:
        far = ("kit", song, *TRACKS, "--cluster", programs.address, "-o")
        ran = tercet(*far, tmp_path / "far")
        assert ran.code == 0, ran.err
        address = tercet(*far, "file://" + str(tmp_path / "address"))
        assert address.code == 0, address.err
    assert contents(tmp_path / "far") == alone
    assert contents(tmp_path / "address") == alone


def test_a_scheduler_that_is_killed_midway_loses_nothing(
    song: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert tercet("kit", song, "-o", tmp_path / "alone", "--jobs", "1").code == 0
    alone, folder = contents(tmp_path / "alone"), tmp_path / "far"
    (tmp_path / "dask").mkdir()
    with dask_programs(tmp_path / "dask", workers=1) as programs:
        arguments = command("kit", song, "-o", folder, "--cluster", programs.address)
        with subprocess.Popen(
            arguments, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
        ) as process:
            while len(list(folder.rglob("*.wav"))) < 4:
                assert process.poll() is None, process.communicate()[1]
                time.sleep(0.01)
            programs.scheduler.kill()
            said = process.communicate(timeout=60)[1]
        for worker in programs.workers:
            worker.kill()
            worker.wait()
    assert process.returncode == 3, said
    assert f"the Dask scheduler at {programs.address} has gone; what is finished stays" in said
    assert "Traceback" not in said, said
    there = visible(folder)
    assert 0 < len(there) < len(alone)
    told = json.loads(there.pop("two-kettles/kit.json"))
    assert {f"two-kettles/{entry['file']}" for entry in told["files"]} <= set(there)
    assert {name: data for name, data in there.items() if alone.get(name) != data} == {}
    again = tercet("kit", song, "-o", folder, "--jobs", "1")
    assert again.code == 0, again.err
    assert contents(folder) == alone
    made_now = re.search(r"(\d+) made now", again.err)
    assert made_now is not None
    assert int(made_now[1]) < len(alone) - 1, again.err


def test_a_cluster_that_is_not_there_is_said_before_work(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("kit", song, "-o", tmp_path / "out", "--cluster", "tcp://127.0.0.1:9")
    assert ran.code == 3
    assert "no Dask scheduler answers" in ran.err
    assert not (tmp_path / "out").exists()


def test_a_job_that_fails_says_its_song_and_track_and_the_others_go_on(
    song: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:

    def fail(order: SetOrder, index: int, *more: Any) -> TrackFacts:
        if order.tracks[index].recipe.name == "echo":
            raise ValueError("no echo today")
        return write_track(order, index, *more)

    monkeypatch.setattr("tercet.kit.tasks.write_track", fail)
    second = song.with_name("second.yaml")
    second.write_text(song.read_text("utf-8").replace("Two Kettles", "Second"), "utf-8")
    ran = tercet("kit", song, second, "-o", tmp_path / "out", "--jobs", "1", *TRACKS)
    assert ran.code == 1
    end = ran.err.splitlines()[-3:]
    assert end[0] == "2 things couldn't be made; all others are there:"
    assert end[1:] == [
        "  Two Kettles: echo: ValueError: no echo today", "  Second: echo: ValueError: no echo today"
    ]  # fmt: skip
    assert len(list((tmp_path / "out").rglob("*.wav"))) == 4


def test_progress_on_a_terminal_and_none_elsewhere(song: Path, tmp_path: Path, tercet: Run) -> None:
    ours, theirs = pty.openpty()
    arguments = command("kit", song, "-o", tmp_path / "out", "--jobs", "1", *TRACKS)
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "100"}
    with subprocess.Popen(
        arguments, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=theirs
    ) as process:
        os.close(theirs)
        said = b""
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:
                break
            if not piece:
                break
            said += piece
        table = process.communicate()[0].decode()
    os.close(ours)
    assert process.returncode == 0
    text = said.decode()
    assert re.search(r"Two Kettles: 02-demo.wav", text)
    assert re.search(r"[1-4]/4", text)
    assert re.search(r"\d:\d\d:\d\d", text)
    assert table.count("\n") == 5
    silent = tercet("kit", song, "-o", tmp_path / "quiet", "--jobs", "1", *TRACKS)
    assert silent.err == "Two Kettles: 4 files, 4 made now\n"
    assert "\x1b" not in silent.out


def test_many_songs_are_jobs_of_their_own(song: Path, tmp_path: Path, tercet: Run) -> None:
    songs = []
    for number in range(4):
        songs.append(song.with_name(f"song-{number}.yaml"))
        songs[-1].write_text(song.read_text("utf-8").replace("Two Kettles", f"Song {number}"), "utf-8")
    for folder, jobs in (("one", 1), ("two", 2)):
        ran = tercet("kit", *songs, "-o", tmp_path / folder, "--tracks", "demo", "--jobs", jobs)
        assert ran.code == 0, ran.err
    assert contents(tmp_path / "one") == contents(tmp_path / "two")
