"""A kit that is stopped half-way, in every way: no partial file, and then the same as one that wasn't."""

from __future__ import annotations

import json
import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pytest

from tercet.errors import OutputError
from tercet.jobs import FolderStore
from tests.cli.conftest import Ran

Run = Callable[..., Ran]

ROOT = Path(__file__).resolve().parents[2]
TRACKS = "demo,only-melody,turns-bars,without-melody"
FORKED_KILLS, REAL_KILLS = 46, 4


@pytest.fixture
def font(tercet: Run) -> str:
    """The sound font that the command plays with, as the environment names it."""
    return os.environ["TERCET_SOUND"]


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "kettle.yaml"
    path.write_text(
        "title: Kettle\nkey: C major\nmeter: 3/4\ntempo: 180\nstrum: d . d u d u\nsections:\n  verse: |\n"
        "    chords   C      | G7\n    melody   G4 A G | B4:3\n",
        encoding="utf-8",
    )
    return path


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "tercet", *map(str, arguments)]


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def visible(folder: Path) -> dict[str, bytes]:
    """Return all files under final names; those that are hidden, and those in hidden folders, aren't."""
    return {
        name: data
        for name, data in contents(folder).items()
        if not any(part.startswith(".tercet-") for part in Path(name).parts)
    }


def check_whole(folder: Path, undisturbed: Mapping[str, bytes]) -> None:
    """See that every file is complete, and that the manifest tells of no other."""
    for name, data in visible(folder).items():
        if name.endswith("kit.json"):
            listed = {f"kettle/{each['file']}" for each in json.loads(data)["files"]}
            assert listed <= {*visible(folder)}
        else:
            assert data == undisturbed[name], f"{name} has {len(data)} bytes of {len(undisturbed[name])}"


@contextmanager
def forks() -> Iterator[Callable[[list[str], float | None], tuple[int, float]]]:
    """Give a function that makes a kit in a fork and kills it after some seconds."""
    with subprocess.Popen(
        [sys.executable, "-m", "tests.cli.kit_forks"],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as server:
        assert server.stdin
        assert server.stdout

        def run(arguments: list[str], kill_after_s: float | None) -> tuple[int, float]:
            assert server.stdin
            assert server.stdout
            server.stdin.write(json.dumps([arguments, kill_after_s]) + "\n")
            server.stdin.flush()
            code, took_s = json.loads(server.stdout.readline())
            return code, took_s

        yield run
        server.stdin.close()


def test_killed_at_fifty_moments_it_leaves_no_partial_file_and_goes_on(
    song: Path, tmp_path: Path, font: str
) -> None:
    chance = random.Random(6)  # noqa: S311 - moments, no secret
    alone, folder = tmp_path / "alone", tmp_path / "out"
    kit = ["kit", str(song), "--tracks", TRACKS, "--formats", "wav,flac"]
    here = [*kit, "--jobs", "1", "-o"]
    killed = completed = partly = 0
    with forks() as fork:
        fork([*here, str(tmp_path / "warm")], None)
        code, whole_s = fork([*here, str(alone)], None)
        assert code == 0
        undisturbed = contents(alone)
        for _ in range(FORKED_KILLS):
            code, _ = fork([*here, str(folder)], chance.uniform(0.0, whole_s))
            killed += code == -signal.SIGKILL
            check_whole(folder, undisturbed)
            partly += 0 < len(visible(folder)) < len(undisturbed)
            if visible(folder) == undisturbed:
                completed += 1
                fork([*here, str(folder)], None)
                assert contents(folder) == undisturbed
                for name in undisturbed:
                    (folder / name).unlink()
        for _ in range(REAL_KILLS):
            _kill_group([*command(*kit), "--jobs", "2", "-o", str(folder)], chance.uniform(0.3, 2.0))
            check_whole(folder, undisturbed)
        assert fork([*here, str(folder)], None)[0] == 0
    assert contents(folder) == undisturbed
    assert killed >= FORKED_KILLS // 2
    assert partly


def _kill_group(arguments: list[str], after_s: float) -> None:
    """Start a command as its own process group, and kill all of that."""
    with subprocess.Popen(
        arguments, cwd=ROOT, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        time.sleep(after_s)
        os.killpg(process.pid, signal.SIGKILL)


def test_a_file_that_is_cut_short_is_seen(song: Path, tmp_path: Path, tercet: Run) -> None:
    """What the test above looks at would fail."""
    assert tercet("kit", song, "-o", tmp_path / "out", "--tracks", "demo", "--jobs", "1").code == 0
    undisturbed = contents(tmp_path / "out")
    (name,) = (name for name in undisturbed if name.endswith(".wav"))
    (tmp_path / "out" / name).write_bytes(undisturbed[name][:-100])
    with pytest.raises(AssertionError, match="bytes of"):
        check_whole(tmp_path / "out", undisturbed)


def test_ctrl_c_says_so_and_leaves_nothing_hidden(song: Path, tmp_path: Path, font: str) -> None:
    arguments = command("kit", song, "-o", tmp_path / "out", "--jobs", "2")
    with subprocess.Popen(
        arguments, cwd=ROOT, start_new_session=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        deadline_s = time.monotonic() + 300
        while not list((tmp_path / "out").glob("kettle/*.wav")) and time.monotonic() < deadline_s:
            assert process.poll() is None
            time.sleep(0.01)
        os.killpg(process.pid, signal.SIGINT)
        said = process.communicate()[1]
    assert process.returncode == 130
    assert "nothing half written" in said
    assert "Traceback" not in said
    assert not list((tmp_path / "out").rglob(".tercet-*"))


def test_a_full_disk_is_said_and_leaves_no_half_file(song: Path, tmp_path: Path, font: str) -> None:
    """A limit on the size of files stands for a disk that is full: the demo has some 500 kB."""

    def narrow() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))

    ran = subprocess.run(
        command("kit", song, "-o", tmp_path / "out", "--tracks", "demo", "--jobs", "1"),
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=narrow,
    )
    assert ran.returncode == 3
    assert "Kettle: demo: can't write" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert not list((tmp_path / "out").rglob("*.wav"))
    assert not list((tmp_path / "out").rglob(".tercet-*"))


def test_a_place_that_takes_no_more_loses_one_track_and_no_other(
    song: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    put = FolderStore.put

    def full(self: FolderStore, file: Path, name: str) -> None:
        if "only-melody" in name:
            raise OutputError(f"can't write {name}: No space left on device")
        put(self, file, name)

    kit = ("kit", song, "-o", tmp_path / "out", "--tracks", TRACKS, "--jobs", "1")
    with monkeypatch.context() as patch:
        patch.setattr(FolderStore, "put", full)
        ran = tercet(*kit)
    assert ran.code == 3
    assert "1 thing couldn't be made" in ran.err
    assert "Kettle: only-melody: can't write" in ran.err
    assert len(list((tmp_path / "out" / "kettle").glob("*.wav"))) == 3
    assert "1 made now" in tercet(*kit).err


@pytest.mark.parametrize("where", ["/proc/kits", "{song}/kits"])
def test_a_folder_that_can_not_be_written_is_said_before_work(
    song: Path, tercet: Run, where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("no work before that")

    monkeypatch.setattr("tercet.sound.fluid.render_strokes", refuse)
    ran = tercet("kit", song, "-o", where.format(song=song), "--jobs", "1")
    assert ran.code == 3
    assert "can't write" in ran.err
    assert "folder" in ran.err


def test_two_kits_into_one_folder_at_once_do_no_harm(song: Path, tmp_path: Path, font: str) -> None:
    def start(folder: str, tracks: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            command("kit", song, "-o", tmp_path / folder, "--tracks", tracks, "--jobs", "1"),
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )

    both = [start("out", "demo,turns-bars"), start("out", "demo,only-melody")]
    for each in both:
        said = each.communicate()[1]
        assert each.returncode == 0, said
    manifest = json.loads((tmp_path / "out" / "kettle" / "kit.json").read_bytes())
    told = [entry["file"] for entry in manifest["files"]]
    assert told == ["02-demo.wav", "14-only-melody.wav", "26-turns-bars.wav", "kettle.mid"]
    third = start("out", "demo,only-melody,turns-bars")
    assert "4 files, none made now" in third.communicate()[1]
    alone = start("alone", "demo,only-melody,turns-bars")
    alone.communicate()
    assert {*contents(tmp_path / "out")} == {*contents(tmp_path / "alone")}


def test_two_equal_kits_at_once_make_what_one_makes(song: Path, tmp_path: Path, font: str) -> None:
    kit = ("--tracks", "demo,echo", "--jobs", "1")
    both = [
        subprocess.Popen(
            command("kit", song, "-o", tmp_path / "out", *kit), cwd=ROOT, stdout=subprocess.DEVNULL
        )
        for _ in range(2)
    ]
    assert [each.wait() for each in both] == [0, 0]
    subprocess.run(
        command("kit", song, "-o", tmp_path / "alone", *kit), cwd=ROOT, check=True, capture_output=True
    )
    assert contents(tmp_path / "out") == contents(tmp_path / "alone")
