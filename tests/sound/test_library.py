from __future__ import annotations

import logging
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from tercet.errors import SynthesiserError
from tercet.sound import library
from tercet.sound.library import load_library


@pytest.fixture
def fresh() -> Iterator[None]:
    """Let the library be loaded anew within a test, and again after it."""
    load_library.cache_clear()
    yield
    load_library.cache_clear()


@pytest.mark.usefixtures("fresh")
@pytest.mark.parametrize(
    ("platform", "command"),
    [
        (
            "linux",
            "Install it: Debian, Ubuntu: sudo apt install libfluidsynth3 · Fedora: sudo dnf install fluidsynth-libs",
        ),
        ("linux", "Arch: sudo pacman -S fluidsynth"),
        ("darwin", "Install it: brew install fluid-synth"),
        ("win32", r"C:\tools\fluidsynth\bin holds fluidsynth-3.dll"),
        ("freebsd", "brew install fluid-synth · "),
    ],
)
def test_a_missing_library_is_an_error_with_the_way_to_install_it(
    monkeypatch: pytest.MonkeyPatch, platform: str, command: str
) -> None:
    monkeypatch.delitem(sys.modules, "fluidsynth", raising=False)
    monkeypatch.setattr("ctypes.util.find_library", lambda _name: None)
    monkeypatch.setenv("HOMEBREW_PREFIX", "")
    monkeypatch.setattr(sys, "platform", platform)
    with pytest.raises(
        SynthesiserError, match="Sound fonts are played by the FluidSynth library, which can't be loaded"
    ) as caught:
        load_library()
    assert command in str(caught.value)
    assert caught.value.exit_code == 3


@pytest.mark.usefixtures("fresh")
def test_a_missing_binding_and_a_library_of_another_kind_are_errors_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "fluidsynth", None)
    with pytest.raises(SynthesiserError, match=r"can't be loaded here \(import of fluidsynth halted"):
        load_library()

    def wrong_kind(_name: str) -> object:
        raise OSError("wrong ELF class.")

    monkeypatch.setattr("importlib.import_module", wrong_kind)
    with pytest.raises(SynthesiserError, match=r"can't be loaded here \(wrong ELF class\)\. Install"):
        load_library()


@pytest.mark.usefixtures("fresh")
@pytest.mark.parametrize("variable", [None, "", "/no/such/brew"])
@pytest.mark.parametrize("place", ["first", "last"])
def test_on_a_mac_the_library_is_found_without_a_variable(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, variable: str | None, place: str
) -> None:
    loaded = Path(load_library().binding.lib).name
    load_library.cache_clear()
    folder = tmp_path / place / "lib"
    folder.mkdir(parents=True)
    found = subprocess.run(["ldconfig", "-p"], capture_output=True, text=True, check=True).stdout
    real = next(line.split()[-1] for line in found.splitlines() if line.split()[:1] == [loaded])
    (folder / "libfluidsynth.dylib").symlink_to(real)
    monkeypatch.delitem(sys.modules, "fluidsynth", raising=False)
    monkeypatch.setattr("ctypes.util.find_library", lambda _name: None)
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(library, "MAC_PREFIXES", (str(tmp_path / "first"), str(tmp_path / "last")))
    if variable is None:
        monkeypatch.delenv("HOMEBREW_PREFIX", raising=False)
    else:
        monkeypatch.setenv("HOMEBREW_PREFIX", variable)
    assert load_library().binding.lib == str(folder / "libfluidsynth.dylib")
    assert os.environ.get("HOMEBREW_PREFIX") == variable


@pytest.mark.usefixtures("fresh")
def test_an_old_library_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def version_1(*numbers: object) -> None:
        for number, value in zip(numbers, (1, 1, 11), strict=True):
            number.value = value  # type: ignore[attr-defined]

    monkeypatch.setattr("importlib.import_module", lambda _name: SimpleNamespace(fluid_version=version_1))
    with pytest.raises(
        SynthesiserError,
        match=r"FluidSynth 1\.1\.11 is too old; to play sound fonts, 2\.1\.0 or later is needed",
    ):
        load_library()


def test_the_version_has_three_numbers_and_loading_again_gives_the_same() -> None:
    loaded = load_library()
    assert [part.isdigit() for part in loaded.version.split(".")] == [True] * 3
    assert load_library() is loaded


def test_what_the_library_says_is_logged_and_its_errors_are_kept(
    caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    caplog.set_level(logging.DEBUG, logger="tercet.sound.library")
    loaded = load_library()
    loaded.complaints.clear()
    assert loaded.complaint() == "it gave no reason"
    player = loaded.binding.Synth()
    try:
        assert loaded.binding.fluid_synth_program_select(player.synth, 0, 99, 0, 24) == -1
        assert loaded.complaint() != "it gave no reason"
        assert not loaded.complaints
    finally:
        player.delete()
    assert "FluidSynth: " in caplog.text
    assert capfd.readouterr() == ("", "")


def test_loading_prints_nothing_even_where_the_binding_would() -> None:
    code = "from tercet.sound.library import load_library; load_library()"
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={"CI": "true", "PATH": "/usr/sbin:/usr/bin:/sbin:/bin"},
    )
    assert (run.stdout, run.stderr) == ("", "")
