"""How a command starts and ends wherever it is put: encodings, closed and full streams, Ctrl-C, no home, no cache."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.conftest import SMALL_SONG

ROOT = Path(__file__).resolve().parents[2]

BARE = """
import ctypes, os, resource, sys
if os.getuid() == 0:
    libc = ctypes.CDLL(None, use_errno=True)
    head, sets = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    assert libc.capget(head, sets) == 0
    for number in (0, 1):
        sets[number] &= ~0b110
    assert libc.capset(head, sets) == 0
{first}
sys.argv = ["tercet", *sys.argv[1:]]
from tercet.__main__ import main
sys.exit(main())
"""
"""The command as a user whom permissions bind: root puts off its right to pass over them (CAP_DAC_OVERRIDE and
CAP_DAC_READ_SEARCH, capabilities(7)), any other user has none."""


@pytest.fixture
def song(tmp_path: Path) -> Path:
    path = tmp_path / "kettle ♯é.yaml"
    path.write_text(SMALL_SONG.replace("Two Kettles", "Zwölf Kessel ♯ 🎵 ĺ"), encoding="utf-8")
    return path


def environment(**changes: str | None) -> dict[str, str]:
    """Return this environment with some variables changed, or taken away."""
    found = {**os.environ, "PYTHONPATH": str(ROOT / "render"), **changes}
    return {name: value for name, value in found.items() if value is not None}


def run(*arguments: object, **changes: str | None) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "tercet", *map(str, arguments)],
        env=environment(**changes),
        cwd=ROOT,
        capture_output=True,
        check=False,
    )


def shell(words: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run `words` in a shell, in which "$@" is the command."""
    typed = [sys.executable, "-m", "tercet", *map(str, arguments)]
    return subprocess.run(
        ["sh", "-c", words, "sh", *typed],
        env=environment(),
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


# ---- encodings


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp437", "utf-8", "latin-1"])
@pytest.mark.parametrize("asked", [("check", "--tab"), ("check", "--json"), ("advise",), ("kit", "--list")])
def test_no_encoding_stops_what_is_printed(song: Path, encoding: str, asked: tuple[str, ...]) -> None:
    ran = run(asked[0], song, *asked[1:], PYTHONIOENCODING=encoding)
    assert ran.returncode == 0, ran.stderr
    assert b"Traceback" not in ran.stderr
    printed = ran.stdout.decode(encoding)
    if "--json" in asked:
        assert json.loads(printed)[0]["title"] == "Zwölf Kessel ♯ 🎵 ĺ"
    elif asked[0] == "check":
        assert ("Zwölf" in printed) == (encoding != "ascii")


def test_a_name_that_is_no_text_is_said_as_far_as_it_goes(tmp_path: Path) -> None:
    path = os.fsencode(tmp_path) + b"/gr\xfcn.yaml"
    Path(os.fsdecode(path)).write_text(SMALL_SONG, encoding="utf-8")
    for command in (["check"], ["kit", "--tracks", "demo", "-o", str(tmp_path / "out")]):
        ran = run(command[0], os.fsdecode(path), *command[1:])
        assert ran.returncode == 0, ran.stderr
        assert b"Traceback" not in ran.stderr


# ---- streams


@pytest.mark.parametrize("asked", [("check",), ("kit", "--list"), ("--help",), ("advise", "--json")])
def test_a_full_stdout_is_said(song: Path, asked: tuple[str, ...]) -> None:
    words = [*asked[:1], *([song] if asked != ("--help",) else []), *asked[1:]]
    ran = shell('"$@" >/dev/full', *words)
    assert ran.returncode == 3
    assert ran.stderr.splitlines()[-1] == "the results can't be written: No space left on device"
    assert "Traceback" not in ran.stderr
    assert "Exception ignored" not in ran.stderr


@pytest.mark.parametrize("words", ['"$@" | head -1', '"$@" | true', '"$@" 2>/dev/full | true'])
@pytest.mark.parametrize("asked", [("check", "--tab"), ("kit", "--list"), ("--help",)])
def test_a_reader_that_goes_is_no_mistake(song: Path, words: str, asked: tuple[str, ...]) -> None:
    typed = [*asked[:1], *([song] if asked != ("--help",) else []), *asked[1:]]
    ran = shell(words, *typed)
    assert ran.stderr == ""


@pytest.mark.parametrize("closed", [">&-", "<&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams_are_no_mistake_and_nothing_is_printed_into_a_file(
    song: Path, tmp_path: Path, closed: str
) -> None:
    shell('"$@"', "render", song, "-o", tmp_path / "open.mid", "--tuning", "low-g")
    ran = shell(f'"$@" {closed}', "render", song, "-o", tmp_path / "closed.mid", "--tuning", "low-g")
    assert ran.returncode == 0
    assert "Traceback" not in ran.stderr
    assert (tmp_path / "closed.mid").read_bytes() == (tmp_path / "open.mid").read_bytes()


def test_a_full_stderr_is_no_mistake(song: Path, tmp_path: Path) -> None:
    ran = shell('"$@" 2>/dev/full', "new", tmp_path / "a-song.yaml")
    assert (ran.returncode, ran.stdout) == (0, f"{tmp_path / 'a-song.yaml'}\n")


# ---- Ctrl-C

AT_AN_IMPORT = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.{handler})
class Pressed:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            sys.meta_path.remove(self)
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Pressed())
sys.argv = ["tercet", *sys.argv[1:]]
from tercet.__main__ import main
sys.exit(main())
"""

IMPORTED = [
    "argparse",
    "tercet.cli",
    "tercet.cli.main",
    "tercet.errors",
    "tercet.cli.talk",
    "tercet.cli.page",
]
IMPORTED += ["tercet.song", "ruamel.yaml", "numpy", "tercet.arranging.report"]


def pressed_at(module: str, handler: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    program = AT_AN_IMPORT.format(module=module, handler=handler)
    return subprocess.run(
        [sys.executable, "-c", program, *map(str, arguments)],
        env=environment(),
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("module", IMPORTED)
def test_ctrl_c_while_it_is_loaded_ends_it_with_a_sentence(song: Path, module: str) -> None:
    ran = pressed_at(module, "default_int_handler", "check", song)
    assert (ran.returncode, ran.stdout) == (130, ""), ran.stderr
    assert ran.stderr == "stopped; nothing half written was left\n"


def test_where_ctrl_c_is_not_heeded_it_goes_on(song: Path) -> None:
    ran = pressed_at("tercet.cli.main", "SIG_IGN", "check", song)
    assert ran.returncode == 0
    assert "no mistakes" in ran.stdout


def test_ctrl_c_after_the_end_shows_nothing_of_python(song: Path) -> None:
    program = AT_AN_IMPORT.format(module="-", handler="default_int_handler").replace(
        "sys.exit(main())", "code = main(); os.kill(os.getpid(), signal.SIGINT); sys.exit(code)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program, "kit", "--list"],
        env=environment(),
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == -signal.SIGINT
    assert ran.stderr == ""


# ---- users without a name, a home or a cache


@pytest.fixture
def open_place() -> Iterator[Path]:
    """A folder with a song and room for temporary files."""
    with tempfile.TemporaryDirectory(prefix="tercet-open-", dir="/tmp") as name:
        folder = Path(name)
        (folder / "tmp").mkdir()
        (folder / "kettle.yaml").write_text(SMALL_SONG, encoding="utf-8")
        yield folder


def bound(
    folder: Path, *arguments: object, first: str = "", **changes: str | None
) -> subprocess.CompletedProcess[str]:
    """Run the command as a user whom permissions bind, in an environment without a home."""
    program = BARE.format(first=first)
    gone = dict.fromkeys(("HOME", "USER", "LOGNAME", "LNAME", "USERNAME", "XDG_CACHE_HOME", "TERCET_CACHE"))
    return subprocess.run(
        [sys.executable, "-c", program, *map(str, arguments)],
        env=environment(**{**gone, "TMPDIR": str(folder / "tmp"), **changes}),
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


UNKNOWN = "import pwd\ndef gone(_): raise KeyError('nobody')\npwd.getpwuid = pwd.getpwnam = gone"
"""The system knows no user of this number, as in a container."""


def test_a_user_without_a_name_or_a_home_makes_a_kit(open_place: Path) -> None:
    kit = ("kit", "kettle.yaml", "-o", "out", "--tracks", "demo", "--jobs", "2")
    ran = bound(open_place, *kit, first=UNKNOWN)
    assert ran.returncode == 0, ran.stderr
    assert "Traceback" not in ran.stderr
    assert ran.stderr.count("the cache can't be kept for the next time (this user has no home folder)") == 1
    (cache,) = (open_place / "tmp").iterdir()
    assert stat.S_IMODE(cache.stat().st_mode) == 0o700
    assert str(cache) in ran.stderr
    assert (open_place / "out" / "kettle" / "02-demo.wav").is_file()
    assert not (open_place / "~").exists()
    for command in (("sounds",), ("kit", "kettle.yaml", "-o", "out", "--tracks", "demo")):
        assert bound(open_place, *command, first=UNKNOWN).returncode == 0


def test_a_cache_that_can_not_be_written_is_said_once_and_another_is_used(open_place: Path) -> None:
    (open_place / "home").mkdir(mode=0o555)
    kit = ("kit", "kettle.yaml", "-o", "out", "--tracks", "demo,slow", "--jobs", "2")
    ran = bound(open_place, *kit, HOME=str(open_place / "home"))
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr.count("the cache can't be kept for the next time") == 1
    kit = (*kit[:2], "-o", "again", *kit[4:])
    ran = bound(open_place, *kit, HOME=str(open_place / "home"), TERCET_CACHE=str(open_place / "mine"))
    assert ran.returncode == 0
    assert "can't be kept" not in ran.stderr
    assert (open_place / "mine").is_dir()


def test_a_temporary_cache_of_somebody_else_is_not_trusted(open_place: Path) -> None:
    (open_place / "elsewhere").mkdir()
    (open_place / "tmp" / f"tercet-cache-{os.getuid()}").symlink_to(open_place / "elsewhere")
    ran = bound(open_place, "sounds", first=UNKNOWN)
    assert ran.returncode == 0, ran.stderr
    assert not list((open_place / "elsewhere").iterdir())


def test_no_lock_stays_among_the_temporary_files(open_place: Path) -> None:
    kit = ("kit", "kettle.yaml", "-o", "out", "--tracks", "demo", "--jobs", "1")
    ran = bound(open_place, *kit, TERCET_CACHE=str(open_place / "cache"))
    assert ran.returncode == 0, ran.stderr
    assert list((open_place / "tmp").iterdir()) == []


@pytest.mark.parametrize(
    "command", [["check"], ["advise"], ["pin"], ["kit", "-o", "out"], ["page", "-o", "out"]]
)
def test_a_song_in_a_folder_that_one_may_not_enter(open_place: Path, command: list[str]) -> None:
    closed = open_place / "closed"
    closed.mkdir()
    (closed / "kettle.yaml").write_text(SMALL_SONG, encoding="utf-8")
    closed.chmod(0)
    try:
        ran = bound(
            open_place, command[0], closed / "kettle.yaml", *command[1:], HOME=str(open_place / "tmp")
        )
    finally:
        closed.chmod(0o700)
    assert ran.returncode == 1
    assert ran.stderr == f"{closed / 'kettle.yaml'} can't be read: Permission denied\n"


@pytest.mark.parametrize(
    "kind", ["check", "advise", "pin", "render", "kit", "page", "sheet", "new", "import", "export"]
)
def test_a_name_that_is_far_too_long(open_place: Path, kind: str) -> None:
    name = "x" * 300 + (".abc" if kind == "import" else ".yaml")
    output = {
        "render": "a.wav",
        "kit": "out",
        "page": "out",
        "sheet": "a.pdf",
        "import": "a.yaml",
        "export": "a.abc",
    }
    ran = bound(
        open_place,
        kind,
        name,
        *(["-o", output[kind]] if kind in output else []),
        HOME=str(open_place / "tmp"),
    )
    assert ran.returncode in {1, 3}
    assert len(ran.stderr.splitlines()) == 1
    assert "too long" in ran.stderr


# ---- limits of the system


@pytest.mark.parametrize(
    "command",
    [
        ("render", "kettle.yaml", "-o", "a.wav"),
        ("sheet", "kettle.yaml", "-o", "a.pdf"),
        ("kit", "kettle.yaml", "-o", "out", "--tracks", "demo,slow", "--jobs", "1"),
        ("kit", "kettle.yaml", "-o", "out", "--tracks", "demo,slow", "--jobs", "2"),
        ("page", "kettle.yaml", "-o", "out", "--no-kit"),
        ("sounds", "--build", "--small", "-o", "a.sf2"),
    ],
)
def test_a_limit_on_the_size_of_files_is_said_as_what_it_is(
    open_place: Path, command: tuple[str, ...]
) -> None:
    warm = ("render", "kettle.yaml", "-o", "warm.wav")
    settled = {"TERCET_CACHE": f"{os.environ['XDG_CACHE_HOME']}/for limits"}
    assert bound(open_place, *warm, **settled).returncode == 0
    limit = "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))"
    before = {*open_place.rglob("*")}
    ran = bound(open_place, *command, first=limit, **settled)
    assert ran.returncode == 3, ran.stderr
    assert "Traceback" not in ran.stderr
    assert "larger than is allowed" in ran.stderr or "File too large" in ran.stderr
    left = {path for path in open_place.rglob("*") if path.is_file()} - before
    assert not [path for path in left if path.suffix not in {".json", ".mid"}], ran.stderr
