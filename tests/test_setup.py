"""The set-up finds a Python, installs what is missing and nothing twice; pins, Makefile and CI script hold together."""

from __future__ import annotations

import ast
import importlib.metadata
import os
import re
import shutil
import stat
import subprocess
import sys
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

import tercet
from tools import pin, set_up, wheels

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
CONSTRAINTS = (ROOT / "constraints.txt").read_text(encoding="utf-8")
PINS = re.findall(r"^[a-z][^\\\n]*?(?= \\\n)", CONSTRAINTS, re.MULTILINE)

Program = Callable[..., Path]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder that is all of PATH, for a person who is not the administrator."""
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder))
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    return folder


@pytest.fixture
def program(bench: Path) -> Program:
    """Make a program on PATH: shell lines, after one that notes how it was called."""

    def make(name: str, *lines: str) -> Path:
        path = bench / name
        note = f"echo {name} $* >> {bench.parent}/calls"
        path.write_text("\n".join(["#!/bin/sh", note, *lines, ""]), encoding="utf-8")
        path.chmod(0o755)
        return path

    return make


def calls(bench: Path) -> list[str]:
    """Return how the programs were called, without the questions that change nothing."""
    lines = (bench.parent / "calls").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if not line.startswith(("python", "apt-cache", "sudo -n true"))]


def manager_of(name: str) -> set_up.Manager:
    return next(manager for manager in set_up.MANAGERS if manager.program == name)


# Finding a Python


def test_the_first_python_that_will_do_is_chosen(program: Program) -> None:
    program("python3", "echo 3.10")
    program("python3.13", "echo 'pyenv: no such command' >&2; exit 127")
    wanted = program("python3.12", "echo 3.12")
    program("python3.11", "echo 3.11")
    assert set_up.choose_python(set_up.PYTHON_NAMES) == str(wanted)


def test_this_python_will_do() -> None:
    assert set_up.choose_python([sys.executable]) == sys.executable


def test_pythons_that_will_not_do_are_listed_with_what_they_lack(program: Program) -> None:
    old = program("python3", "echo 3.9")
    bare = program("python3.12", "echo 3.12; exit 1")
    with pytest.raises(set_up.NoPythonError, match=r"needs Python 3\.11 or newer") as caught:
        set_up.choose_python(["python3", "python3.12", "python"])
    assert f"{old}: it is Python 3.9" in str(caught.value)
    assert f"{bare}: Python 3.12, but without venv" in str(caught.value)
    assert "apt-get install python3-venv" in str(caught.value)
    assert caught.value.without_venv == ("3.12",)


def test_a_machine_without_python_is_told_so(bench: Path) -> None:
    assert list(bench.iterdir()) == []
    with pytest.raises(set_up.SetUpError, match="Found: none"):
        set_up.choose_python(set_up.PYTHON_NAMES)


def test_venv_that_debian_left_out_is_installed(
    bench: Path, program: Program, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    python = program("python3", "echo 3.11", f"[ -e {bench}/venv ]")
    program("apt-cache")
    program("apt-get", f": > {bench}/venv")
    assert set_up.ready_python(["python3"], may_install=True) == str(python)
    assert calls(bench) == ["apt-get install -y --no-install-recommends python3.11-venv"]
    assert "without venv" in capfd.readouterr().err


def test_venv_is_not_installed_when_the_system_is_to_be_left_alone(bench: Path, program: Program) -> None:
    program("python3", "echo 3.11; exit 1")
    program("apt-get")
    with pytest.raises(set_up.NoPythonError, match="without venv"):
        set_up.ready_python(["python3"], may_install=False)
    assert calls(bench) == []


def test_the_script_starts_on_an_old_python() -> None:
    source = (ROOT / "tools" / "set_up.py").read_text(encoding="utf-8")
    tree = ast.parse(source, feature_version=(3, 6))
    used = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    used |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert used <= {"argparse", "hashlib", "os", "platform", "shutil", "subprocess", "sys", "typing"}


# The virtual environment


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, list[str]]:
    """A checkout and the list of what was done in it; nothing is really made or installed."""
    (tmp_path / "pyproject.toml").write_text("[project]", encoding="utf-8")
    (tmp_path / "constraints.txt").write_text("lark==1.3.1", encoding="utf-8")
    done: list[str] = []

    def make(folder: str, python: str) -> None:
        done.append("made")
        path = Path(set_up.python_of(folder))
        path.parent.mkdir(parents=True)
        path.touch()

    monkeypatch.setattr(set_up, "make_environment", make)
    monkeypatch.setattr(set_up, "works", os.path.exists)
    monkeypatch.setattr(set_up, "install_packages", lambda root, python, what: done.append(what))
    return tmp_path, done


def test_what_is_there_is_not_installed_again(checkout: tuple[Path, list[str]]) -> None:
    root, done = checkout
    for what in ("run", "run", "dev", "dev", "run"):
        set_up.ready_environment(str(root), what, may_install=False)
    assert done == ["made", "run", "dev"]


def test_the_set_up_for_work_serves_for_running(checkout: tuple[Path, list[str]]) -> None:
    root, done = checkout
    set_up.ready_environment(str(root), "dev", may_install=False)
    set_up.ready_environment(str(root), "run", may_install=False)
    assert done == ["made", "dev"]


@pytest.mark.parametrize("name", ["pyproject.toml", "constraints.txt"])
def test_a_change_of_what_is_needed_installs_again(checkout: tuple[Path, list[str]], name: str) -> None:
    root, done = checkout
    set_up.ready_environment(str(root), "run", may_install=False)
    (root / name).write_text("changed", encoding="utf-8")
    set_up.ready_environment(str(root), "run", may_install=False)
    assert done == ["made", "run", "run"]


def test_a_checkout_that_was_moved_is_installed_again(
    checkout: tuple[Path, list[str]], tmp_path: Path
) -> None:
    root, _ = checkout
    moved = tmp_path / "moved"
    moved.mkdir()
    shutil.copy(root / "pyproject.toml", moved)
    shutil.copy(root / "constraints.txt", moved)
    assert set_up.fingerprint(str(root)) == set_up.fingerprint(str(root))
    assert set_up.fingerprint(str(root)) != set_up.fingerprint(str(moved))


def test_an_install_that_fails_leaves_no_note(
    checkout: tuple[Path, list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    root, done = checkout

    def fail(root: str, python: str, what: str) -> None:
        raise set_up.SetUpError("no network")

    with monkeypatch.context() as patch:
        patch.setattr(set_up, "install_packages", fail)
        with pytest.raises(set_up.SetUpError, match="no network"):
            set_up.ready_environment(str(root), "run", may_install=False)
    set_up.ready_environment(str(root), "run", may_install=False)
    assert done == ["made", "run"]


@pytest.mark.parametrize(("what", "extras"), [("run", ""), ("dev", "[dev,cluster]")])
def test_packages_are_pinned_and_nothing_unpinned_builds_them(
    bench: Path, program: Program, tmp_path: Path, what: str, extras: str
) -> None:
    python = program("fake")
    (tmp_path / ".venv").mkdir()
    shutil.copy(ROOT / "constraints.txt", tmp_path)
    set_up.install_packages(str(tmp_path), str(python), what)
    pip = "fake -m pip install -qq --no-input --disable-pip-version-check --no-deps"
    pins = tmp_path / ".venv" / "pins.txt"
    assert calls(bench) == [
        f"{pip} --require-hashes --only-binary :all: -r {pins}",
        f"{pip} --no-build-isolation -e {tmp_path}{extras}",
    ]
    text = pins.read_text(encoding="utf-8")
    assert "\nlark==" in text
    assert "\nhatchling==" in text
    assert ("\npytest==" in text) == (what == "dev")


def test_packages_that_cannot_be_installed_are_reported(program: Program, tmp_path: Path) -> None:
    python = program("fake", "exit 1")
    (tmp_path / ".venv").mkdir()
    with pytest.raises(set_up.SetUpError, match="could not be installed"):
        set_up.install_packages(str(tmp_path), str(python), "run")


def test_this_environment_works_and_a_broken_one_does_not(program: Program) -> None:
    assert set_up.works(sys.executable)
    assert not set_up.works(str(program("fake", "exit 1")))
    assert not set_up.works("/nowhere/python")


# Wheels for every system


def test_everything_that_is_needed_is_asked_for_as_wheels_on_each_system(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked: list[str] = []

    def run(command: Sequence[str]) -> int:
        pins = Path(command[-1]).read_text(encoding="utf-8")
        assert "numpy==" in pins
        assert "pytest==" not in pins, "only what is needed to run"
        asked.append(" ".join(command))
        return int("--platform=win_amd64" in command)

    assert wheels.main([], run) == 1
    assert all(" download " in each and " --only-binary=:all: " in each for each in asked)
    kinds = ("win_amd64", "macosx_14_0_arm64", "manylinux_2_17_x86_64")
    assert all(f"--platform={kind}" in each for kind, each in zip(kinds, asked, strict=True))
    said = capsys.readouterr().out
    assert "Windows x64, Python 3.11: something is missing" in said
    assert "macOS arm64, Python 3.11: wheels of everything" in said


# The FluidSynth library


def test_only_who_works_on_it_needs_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    for name in ("ready_fluidsynth", "ready_sources", "ready_compared", "ready_for_pages"):
        monkeypatch.setattr(set_up, name, lambda *_, name=name: done.append(name))
    monkeypatch.setattr(set_up, "ready_environment", lambda *_: "python")
    assert set_up.main(["run"]) == 0
    assert done == []
    assert set_up.main(["dev"]) == 0
    assert done[0] == "ready_fluidsynth"


@pytest.mark.parametrize("ci", ["", "true"])
def test_the_library_is_found_here(monkeypatch: pytest.MonkeyPatch, ci: str) -> None:
    monkeypatch.setenv("CI", ci)
    assert set_up.fluidsynth_problem(sys.executable) == ""
    assert set_up.probe([sys.executable, "-c", set_up.FLUIDSYNTH_PROBE]) == (0, "", "")


@pytest.mark.parametrize(
    ("name", "command"),
    [
        ("apt-get", "apt-get install -y --no-install-recommends libfluidsynth3"),
        ("dnf", "dnf install -y fluidsynth-libs"),
        ("yum", "yum install -y fluidsynth-libs"),
        ("pacman", "pacman -S --needed --noconfirm fluidsynth"),
        ("zypper", "zypper --non-interactive install libfluidsynth3"),
        ("apk", "apk add --no-cache fluidsynth-libs"),
        ("brew", "brew install fluid-synth"),
        ("port", "port -N install fluidsynth"),
    ],
)
def test_each_package_manager_is_asked_in_its_own_words(
    bench: Path, program: Program, monkeypatch: pytest.MonkeyPatch, name: str, command: str
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    program(name)
    program("apt-cache")
    assert set_up.install(manager_of(name))
    assert calls(bench) == [command]


def test_an_older_debian_has_the_library_under_its_older_name(
    bench: Path, program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    program("apt-cache", '[ "$2" = libfluidsynth2 ]')
    program("apt-get")
    assert set_up.install(manager_of("apt-get"))
    assert calls(bench) == ["apt-get install -y --no-install-recommends libfluidsynth2"]


def test_an_empty_list_of_packages_is_fetched_first(
    bench: Path, program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    program("apt-cache", f"[ -e {bench}/list ]")
    program("apt-get", f'[ "$1" != update ] || : > {bench}/list')
    assert set_up.install(manager_of("apt-get"))
    assert calls(bench) == ["apt-get update", "apt-get install -y --no-install-recommends libfluidsynth3"]


def test_a_person_who_may_not_change_the_system_is_told_what_to_run(bench: Path, program: Program) -> None:
    python = program("python", f'echo "ImportError: {set_up.FLUIDSYNTH_MISSING}." >&2; exit 1')
    program("sudo", "exit 1")
    program("apt-get")
    program("apt-cache")
    with pytest.raises(set_up.SetUpError, match=r"ask the administrator(.|\n)*sudo apt-get install"):
        set_up.ready_fluidsynth(str(python), may_install=True)
    assert calls(bench) == []


def test_sudo_is_used_where_it_is_needed_and_said_before(
    bench: Path, program: Program, capfd: pytest.CaptureFixture[str]
) -> None:
    program("sudo")
    program("dnf")
    assert set_up.install(manager_of("dnf"))
    assert calls(bench) == ["sudo -n dnf install -y fluidsynth-libs"]
    said = capfd.readouterr().err
    assert "as administrator" in said
    assert "\n  sudo -n dnf install -y fluidsynth-libs\n" in said


def test_homebrew_is_run_without_sudo(
    bench: Path, program: Program, capfd: pytest.CaptureFixture[str]
) -> None:
    program("sudo")
    program("brew")
    assert set_up.install(manager_of("brew"))
    assert calls(bench) == ["brew install fluid-synth"]
    assert "administrator" not in capfd.readouterr().err


def test_a_missing_library_is_installed_and_looked_for_again(
    bench: Path, program: Program, capfd: pytest.CaptureFixture[str]
) -> None:
    missing = f'echo "ImportError: {set_up.FLUIDSYNTH_MISSING}." >&2; exit 1'
    python = program("python", f"[ -e {bench}/library ] && exit 0; {missing}")
    program("brew", f": > {bench}/library")
    set_up.ready_fluidsynth(str(python), may_install=True)
    assert calls(bench) == ["brew install fluid-synth"]
    assert "FluidSynth is installed." in capfd.readouterr().err


def test_a_library_that_does_not_fit_is_reported_not_installed_again(bench: Path, program: Program) -> None:
    python = program("python", "echo 'OSError: wrong ELF class: ELFCLASS32' >&2; exit 1")
    program("brew")
    with pytest.raises(set_up.SetUpError, match=r"can't be used:\n  OSError: wrong ELF class"):
        set_up.ready_fluidsynth(str(python), may_install=True)
    assert calls(bench) == []


def test_the_font_of_tests_is_installed_once(bench: Path, program: Program, tmp_path: Path) -> None:
    font = tmp_path / "font.sf2"
    program("apt-get", f": > {font}")
    program("apt-cache")
    program("sudo", '[ "$1" = -n ] && shift', '"$@"')
    for _ in range(2):
        set_up.ready_test_font(may_install=True, path=str(font))
    assert calls(bench)[-1] == "apt-get install -y --no-install-recommends fluid-soundfont-gm"
    assert sum(line.startswith("apt-get") for line in calls(bench)) == 1


def test_where_the_font_of_tests_cannot_be_installed_it_is_said_how(bench: Path, tmp_path: Path) -> None:
    with pytest.raises(set_up.SetUpError, match=r"sudo apt-get install .* fluid-soundfont-gm\nElsewhere put"):
        set_up.ready_test_font(may_install=True, path=str(tmp_path / "font.sf2"))
    assert list(bench.iterdir()) == []


@pytest.mark.parametrize(
    ("system", "said"),
    [
        ("Windows", r"C:\tools\fluidsynth\bin"),
        ("Darwin", "brew install fluid-synth"),
        ("Linux", "libfluidsynth.so.3"),
        ("FreeBSD", "libfluidsynth.so.3"),
    ],
)
def test_where_no_package_manager_is_known_a_person_is_told_what_to_do(system: str, said: str) -> None:
    text = set_up.manual_instruction(system, None)
    assert said in text
    assert text.endswith("Then run this again.")


def test_a_set_up_that_cannot_go_on_says_why_and_ends_with_3(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def fail(root: str, what: str, may_install: bool) -> str:
        raise set_up.SetUpError("the reason")

    monkeypatch.setattr(set_up, "ready_environment", fail)
    assert set_up.main(["run"]) == 3
    assert capfd.readouterr().err == "the reason\n"


# What only the tests need


def test_pinned_sources_are_fetched_once(bench: Path, program: Program, tmp_path: Path) -> None:
    folder = tmp_path / ".venv" / "sources"
    folder.mkdir(parents=True)
    (tmp_path / "constraints.txt").write_text(
        "# pins\npluggy==1\npychord==9.8.7 \\\n    --hash=sha256:12 \\\n    --hash=sha256:34\nsix==1\n",
        encoding="utf-8",
    )
    python = program("fake", f": > {folder}/pychord-9.8.7.tar.gz")
    set_up.ready_sources(str(tmp_path), str(python))
    set_up.ready_sources(str(tmp_path), str(python))
    (call,) = calls(bench)
    wanted = folder / "pychord.txt"
    source = "--no-deps --no-build-isolation --no-binary pychord --require-hashes"
    assert call.endswith(f"{source} -d {folder} -r {wanted}")
    assert wanted.read_text(encoding="utf-8").split() == [
        "pychord==9.8.7",
        "--hash=sha256:12",
        "--hash=sha256:34",
    ]


def test_what_tests_compare_with_is_installed_where_it_is_missing(
    bench: Path, program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    program("apt-get")
    program("apt-cache")
    set_up.ready_compared(may_install=True)
    assert calls(bench) == [
        f"apt-get install -y --no-install-recommends {name}"
        for name in ("npm", "abcmidi", "fluidsynth", "openssl")
    ]


def test_where_what_tests_compare_with_cannot_be_had_that_is_said(
    bench: Path, program: Program, capfd: pytest.CaptureFixture[str]
) -> None:
    set_up.ready_compared(may_install=True)
    program("brew")
    set_up.ready_compared(may_install=False)
    said = capfd.readouterr().err
    for name in set_up.COMPARED:
        assert said.count(f"{name} is missing: tests that use it are left out here") == 2
        program(name)
    set_up.ready_compared(may_install=True)
    assert capfd.readouterr().err == ""


# Pins


def test_pins_are_names_and_releases_only() -> None:
    line = re.compile(
        r'[a-z0-9-]+==[\w.]+( ; python_version (<|>=) "3\.\d+"( and python_version < "3\.\d+")?)?'
    )
    assert [text for text in PINS if not line.fullmatch(text)] == []
    hash_line = re.compile(r" {4}--hash=sha256:[0-9a-f]{64}( \\)?")
    others = [
        text
        for text in CONSTRAINTS.splitlines()
        if text and not text.startswith("#") and not hash_line.fullmatch(text)
    ]
    assert [text.removesuffix(" \\") for text in others] == PINS


def test_what_is_needed_to_run_has_hashes_for_every_system() -> None:
    """numpy comes as one file for each system and Python, so that all of them must be there."""
    numpy = CONSTRAINTS.partition("\nnumpy==")[2].partition("\nnumpy==")[0]
    assert numpy.count("--hash") >= 3 * len(pin.PYTHONS)


def test_everything_that_is_asked_for_is_pinned() -> None:
    pinned = {text.partition("==")[0] for text in PINS}
    asked = {re.split(r"[><=]", text)[0].replace("_", "-").replace(".", "-") for text in pin.requirements()}
    assert len(asked) >= 19
    assert asked - pinned == set()


def test_what_is_installed_is_what_is_pinned() -> None:
    pins = {text.partition("==")[0]: text.partition("==")[2] for text in PINS if ";" not in text}
    installed = {
        name: importlib.metadata.version(name) for name in ("pytest", "lark", "mido", "pyfluidsynth")
    }
    assert installed == {name: pins[name] for name in installed}


def test_one_release_for_all_pythons_is_one_line() -> None:
    groups = [("3.11", {"lark": pin.Pin("1.3")}), ("3.14", {"lark": pin.Pin("1.3")})]
    assert pin.pin_lines(groups) == [("lark", "1.3", "lark==1.3")]


def test_releases_that_differ_say_for_which_python_they_are() -> None:
    groups = [
        ("3.11", {"numpy": pin.Pin("2.4"), "six": pin.Pin("1.17")}),
        ("3.12", {"numpy": pin.Pin("2.5")}),
        ("3.13", {"numpy": pin.Pin("2.5")}),
        ("3.15", {"numpy": pin.Pin("2.6")}),
    ]
    assert [line for _, _, line in pin.pin_lines(groups)] == [
        'numpy==2.4 ; python_version < "3.12"',
        'numpy==2.5 ; python_version >= "3.12" and python_version < "3.15"',
        'numpy==2.6 ; python_version >= "3.15"',
        'six==1.17 ; python_version < "3.12"',
    ]


def test_the_file_says_first_what_is_needed_to_run() -> None:
    pins = {
        "lark": pin.Pin("1.3"),
        "rich": pin.Pin("15", ("pygments>=2", "ipywidgets; extra == 'jupyter'")),
        "pygments": pin.Pin("2.2"),
        "ipywidgets": pin.Pin("8"),
    }
    run = pin.needed(pins, ["rich>=13", "none-such"])
    assert run == {"rich", "pygments"}
    hashes = {(name, one.release): [f"{name}1", f"{name}2"] for name, one in pins.items()}
    text = pin.pinned_text([("3.11", pins)], run, hashes)
    first, _, second = text.partition(pin.TO_WORK)
    assert set_up.pins_for(text, "run") == first
    assert set_up.pins_for(text, "dev") == text
    assert re.findall(r"^(\w+)==", first, re.MULTILINE) == ["pygments", "rich"]
    assert re.findall(r"^(\w+)==", second, re.MULTILINE) == ["ipywidgets", "lark"]
    assert "rich==15 \\\n    --hash=sha256:rich1 \\\n    --hash=sha256:rich2\n" in first


def test_wheels_for_other_pythons_and_other_releases_have_no_hash() -> None:
    fitting = [
        "a-2.0-py3-none-any.whl",
        "a-2.0-1-cp315-cp315-win_arm64.whl",
        "a-2.0-cp38-abi3-macosx_11_0_arm64.whl",
    ]
    others = ["a-2.0-cp310-cp310-x.whl", "a-2.0-pp311-x-y.whl", "a-2.0.tar.gz", "a-2.0.1-py3-none-any.whl"]
    assert [name for name in (*fitting, *others) if pin.fits(name, "2.0")] == fitting
    assert pin.fits("a-2.12-py3-none-any.whl", "2.012")


# The project


def test_what_is_installed_is_this_version() -> None:
    assert importlib.metadata.version("tercet") == tercet.__version__
    assert importlib.metadata.metadata("tercet")["License-Expression"] == PROJECT["license"] == "MIT"
    assert (ROOT / "render" / "tercet" / "py.typed").read_bytes() == b""


def test_the_command_is_there() -> None:
    (command,) = importlib.metadata.entry_points(group="console_scripts", name="tercet")
    assert command.value == "tercet.__main__:main"
    assert callable(command.load())


def test_the_makefile_offers_what_it_lists() -> None:
    settings = {name: value for name, value in os.environ.items() if not name.startswith("MAKE")}
    done = subprocess.run(
        ["make", "help"], cwd=ROOT, env=settings, capture_output=True, text=True, check=True
    )
    listed = re.findall(r"^  make ([a-z-]+) +\S", done.stdout, re.MULTILINE)
    assert {"demo", "test", "check", "clean", "fuzz", "setup", "help"} <= set(listed)
    command = ["make", "--dry-run", *listed]
    subprocess.run(command, cwd=ROOT, env=settings, capture_output=True, check=True)


# The script that CI runs


def run_ci(
    tmp_path: Path, test: str, static: str = "exit 0", fonts: str = "exit 0"
) -> subprocess.CompletedProcess[str]:
    """Run `.ci/run` with a make that does as told."""
    make = tmp_path / "make"
    lines = ["#!/bin/sh", f"case $* in fonts) {fonts};; test*) {test};; *static) {static};; esac", ""]
    make.write_text("\n".join(lines), encoding="utf-8")
    make.chmod(0o755)
    settings = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}"}
    command = ["bash", str(ROOT / ".ci" / "run")]
    return subprocess.run(command, cwd="/", env=settings, capture_output=True, text=True, check=False)


def test_ci_passes_and_ends_with_the_closing_line(tmp_path: Path) -> None:
    done = run_ci(tmp_path, "echo '==== 12 passed in 3.4s ===='", "echo all clean")
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1] == "==== 12 passed in 3.4s ===="


@pytest.mark.parametrize(
    ("test", "static", "reason"),
    [
        ("echo '== 1 failed, 2 passed in 1s =='; exit 1", "exit 0", "failed: make test"),
        ("echo '== 2 passed in 1s =='; exit 1", "exit 0", "failed: make test"),
        ("echo '== 2 passed in 1s =='", "exit 1", "failed: make static"),
        ("echo '== 2 passed, 1 skipped in 1s =='", "exit 0", "failed: a test was skipped"),
        ("echo '== no tests ran in 1s =='", "exit 0", "failed: no test passed"),
        ("echo nothing", "exit 0", "failed: no test passed"),
    ],
)
def test_ci_fails_for_its_reason(tmp_path: Path, test: str, static: str, reason: str) -> None:
    done = run_ci(tmp_path, test, static)
    assert done.returncode == 1
    assert reason in done.stdout.splitlines()


def test_ci_fails_where_the_fonts_of_tests_cannot_be_had(tmp_path: Path) -> None:
    done = run_ci(tmp_path, "echo '== 2 passed in 1s =='", fonts="exit 3")
    assert done.returncode == 1
    assert "failed: make fonts" in done.stdout.splitlines()


def test_ci_reads_no_input_and_can_be_run(tmp_path: Path) -> None:
    assert (ROOT / ".ci" / "run").stat().st_mode & stat.S_IXUSR
    done = run_ci(tmp_path, "read line || echo '== 1 passed in 1s =='")
    assert done.returncode == 0


@pytest.mark.parametrize(("ci", "code"), [("", 0), ("true", 1)])
def test_a_skipped_test_fails_the_run_in_ci(tmp_path: Path, ci: str, code: int) -> None:
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path)
    source = "import pytest\ndef test_a(): pass\ndef test_b(): pytest.skip('not today')\n"
    (tmp_path / "test_skips.py").write_text(source, encoding="utf-8")
    settings = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "COV"))}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--rootdir", str(tmp_path)]
    done = subprocess.run(
        [*command, str(tmp_path)],
        cwd=tmp_path,
        env={**settings, "CI": ci},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == code
    assert "1 passed, 1 skipped" in done.stdout
    assert ("CI allows no skipped test" in done.stdout) == bool(ci)


def test_browsers_are_installed_for_the_tests_alone_and_only_those_that_are_missing(
    bench: Path, program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    program("apt-get")
    program("apt-cache")
    program("google-chrome")
    program("pulseaudio")
    assert set_up.ready_for_pages(may_install=True)
    assert calls(bench) == ["apt-get install -y --no-install-recommends firefox-esr"]
    program("firefox")
    assert set_up.ready_for_pages(may_install=True)
    assert len(calls(bench)) == 1


def test_the_set_up_goes_on_without_a_browser(
    bench: Path, program: Program, capfd: pytest.CaptureFixture[str]
) -> None:
    program("brew")
    assert not set_up.ready_for_pages(may_install=True)
    assert "tests/browser" in capfd.readouterr().err
