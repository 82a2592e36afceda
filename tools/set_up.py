"""Make this checkout ready: a virtual environment and the pinned packages; to work on it FluidSynth and a browser, too.

Called by the Makefile. Running it again costs part of a second: it does only what is missing or has changed.
It needs nothing but Python, and starts on any Python from 3.6 on, so that it can find a newer one or say
what to install. Hence its old-fashioned syntax.
"""

import argparse
import hashlib
import os
import platform
import shutil
import subprocess
import sys
from typing import Dict, List, NamedTuple, Optional, Sequence, Tuple

__all__ = [
    "CHROMIUMS",
    "FIREFOXES",
    "FOR_PAGES",
    "MANAGERS",
    "Manager",
    "NoPythonError",
    "SetUpError",
    "choose_python",
    "fingerprint",
    "install",
    "main",
    "manual_instruction",
    "ready_compared",
    "ready_environment",
    "ready_fluidsynth",
    "ready_for_pages",
    "ready_sources",
    "ready_test_font",
]

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
OLDEST = (3, 11)
PYTHON_NAMES = ("python3", "python3.15", "python3.14", "python3.13", "python3.12", "python3.11", "python")

EXTRAS = {
    "run": "",
    "dev": "[dev,cluster]",
}  # what to install, and the extras of pyproject.toml that it stands for

TO_WORK = "# To work on it"  # where in constraints.txt begins what isn't needed to run

TEST_FONT = "/usr/share/sounds/sf2/FluidR3_GM.sf2"
TEST_FONT_PACKAGE = "fluid-soundfont-gm"  # Debian's and Ubuntu's

SOURCES = ("pychord",)  # packages of which tests read tables that lie in the source only
COMPARED = {
    "npm": {
        "apt-get": "npm",
        "dnf": "nodejs-npm",
        "pacman": "npm",
        "zypper": "npm-default",
        "brew": "node",
        "port": "npm10",
    },
    "abc2midi": {"apt-get": "abcmidi", "dnf": "abcMIDI", "brew": "abcmidi", "port": "abcmidi"},
    "fluidsynth": {
        "apt-get": "fluidsynth",
        "dnf": "fluidsynth",
        "pacman": "fluidsynth",
        "zypper": "fluidsynth",
        "brew": "fluid-synth",
        "port": "fluidsynth",
    },
    "openssl": dict.fromkeys(("apt-get", "dnf", "pacman", "zypper", "brew", "port"), "openssl"),
}  # programs that tests and benchmarks use, and who has them under what name

PYTHON_PROBE = """
import sys
print("%d.%d" % sys.version_info[:2])
import ensurepip, venv
"""
FLUIDSYNTH_PROBE = """
from tercet.sound.library import load_library
load_library()
"""
CHROMIUMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FIREFOXES = ("firefox-esr", "firefox")
"""Programs that the tests of pages drive, the best first. Users of Tercet need none of them."""

FOR_PAGES: Dict[str, Tuple[Tuple[str, ...], Dict[str, Tuple[str, ...]]]] = {
    "Chromium": (
        CHROMIUMS,
        dict.fromkeys(("apt-get", "dnf", "pacman", "zypper"), ("chromium",)),
    ),
    "Firefox": (
        FIREFOXES,
        {
            "apt-get": ("firefox-esr", "firefox"),
            "dnf": ("firefox",),
            "pacman": ("firefox",),
            "zypper": ("MozillaFirefox",),
        },
    ),
    "PulseAudio, the loudspeaker that Firefox has there": (
        ("pulseaudio",),
        dict.fromkeys(("apt-get", "dnf", "pacman", "zypper"), ("pulseaudio",)),
    ),
}
"""What the tests of pages drive: the programs, and what to install for them by package manager."""

FLUIDSYNTH_MISSING = "Couldn't find the FluidSynth library"

WITHOUT_MAKE = """
Without make, on Windows for instance (elsewhere it is .venv/bin instead of .venv\\Scripts):
  python tools\\set_up.py run      and then  .venv\\Scripts\\tercet page songs\\harbour-lanterns.yaml -o demo
  python tools\\set_up.py dev      and then  .venv\\Scripts\\python -m pytest -n 3
"""


class SetUpError(Exception):
    """Set-up can't go on; the message says why and what to do."""


class NoPythonError(SetUpError):
    """No Python will do; `without_venv` holds the versions (``"3.11"``) that would with their venv."""

    def __init__(self, message: str, without_venv: Sequence[str]) -> None:
        super().__init__(message)
        self.without_venv = tuple(without_venv)


class Manager(NamedTuple):
    """A package manager that has FluidSynth.

    `names` are its names for the library, best first. `knows` asks whether a name exists; `refresh` fetches the
    list of packages; both may be empty. `as_root` says whether it needs the administrator's rights.
    """

    program: str
    install: Tuple[str, ...]
    names: Tuple[str, ...]
    as_root: bool = True
    knows: Tuple[str, ...] = ()
    refresh: Tuple[str, ...] = ()


MANAGERS = (
    Manager(
        "apt-get",
        ("apt-get", "install", "-y", "--no-install-recommends"),
        ("libfluidsynth3", "libfluidsynth2"),
        knows=("apt-cache", "show"),
        refresh=("apt-get", "update"),
    ),
    Manager("dnf", ("dnf", "install", "-y"), ("fluidsynth-libs",)),
    Manager("yum", ("yum", "install", "-y"), ("fluidsynth-libs",)),
    Manager("pacman", ("pacman", "-S", "--needed", "--noconfirm"), ("fluidsynth",)),
    Manager("zypper", ("zypper", "--non-interactive", "install"), ("libfluidsynth3",)),
    Manager("apk", ("apk", "add", "--no-cache"), ("fluidsynth-libs",)),
    Manager("brew", ("brew", "install"), ("fluid-synth",), as_root=False),
    Manager("port", ("port", "-N", "install"), ("fluidsynth",)),
)


def main(arguments: Optional[Sequence[str]] = None) -> int:
    """Run the set-up that the arguments ask for; return the exit code."""
    parser = argparse.ArgumentParser(
        description="Make this checkout ready to run or to work on.",
        epilog=WITHOUT_MAKE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "what",
        choices=[*sorted(EXTRAS), "fonts"],
        help="run: to use Tercet; dev: to work on it and test it; fonts: a sound font that some tests play with",
    )
    parser.add_argument(
        "--no-system",
        action="store_true",
        help="leave the system alone: say what is missing (Debian's venv; for dev FluidSynth) instead of installing it",
    )
    options = parser.parse_args(arguments)
    try:
        if options.what == "fonts":
            ready_test_font(not options.no_system)
            return 0
        python = ready_environment(ROOT, options.what, not options.no_system)
        if options.what == "dev":
            ready_fluidsynth(python, not options.no_system)
            ready_sources(ROOT, python)
            ready_compared(not options.no_system)
            ready_for_pages(not options.no_system)
    except SetUpError as error:
        say(str(error))
        return 3
    except KeyboardInterrupt:
        say("Stopped. Run it again to go on.")
        return 130
    return 0


def say(text: str) -> None:
    """Talk to the person at the terminal."""
    print(text, file=sys.stderr, flush=True)


# The virtual environment and its packages


def ready_environment(root: str, what: str, may_install: bool) -> str:
    """Make ``.venv`` hold what `what` needs, unless it does already; return its Python.

    What was installed is noted in ``.venv`` as a fingerprint of everything that it depends on.
    """
    folder = os.path.join(root, ".venv")
    python = python_of(folder)
    wanted = fingerprint(root)
    if os.path.exists(python) and any(
        read(note_of(folder, done)) == wanted for done in EXTRAS if done in (what, "dev")
    ):
        return python
    if not works(python):
        make_environment(folder, ready_python([sys.executable, *PYTHON_NAMES], may_install))
    install_packages(root, python, what)
    with open(note_of(folder, what), "w", encoding="utf-8") as file:
        file.write(wanted)
    return python


def fingerprint(root: str) -> str:
    """Return a text that changes when the packages must be installed again: the pins, or the folder's place."""
    digest = hashlib.sha256(root.encode("utf-8"))
    for name in ("pyproject.toml", "constraints.txt"):
        with open(os.path.join(root, name), "rb") as file:
            digest.update(hashlib.sha256(file.read()).digest())
    return digest.hexdigest()


def note_of(folder: str, what: str) -> str:
    """Return the file in the virtual environment that notes what was installed."""
    return os.path.join(folder, "tercet-" + what)


def python_of(folder: str) -> str:
    """Return the Python of a virtual environment."""
    return os.path.join(folder, *(("Scripts", "python.exe") if os.name == "nt" else ("bin", "python")))


def read(path: str) -> str:
    """Return a file's text, empty when it can't be read."""
    try:
        with open(path, encoding="utf-8") as file:
            return file.read()
    except OSError:
        return ""


def works(python: str) -> bool:
    """Whether the Python of a virtual environment starts, is new enough and has pip."""
    code = "import sys, pip; sys.exit(sys.version_info < %r)" % (OLDEST,)
    return probe([python, "-c", code])[0] == 0


def make_environment(folder: str, python: str) -> None:
    """Make the virtual environment anew; one that no longer works is replaced."""
    say("Making a virtual environment in .venv with %s" % python)
    run([python, "-m", "venv", "--clear", folder], "The virtual environment could not be made.")


def install_packages(root: str, python: str, what: str) -> None:
    """Install the pinned packages, and Tercet from this folder so that an edit counts at once."""
    say(
        "Installing the packages that Tercet needs %s into .venv (a minute or two the first time)"
        % for_what(what)
    )
    pip = [python, "-m", "pip", "install", "-qq", "--no-input", "--disable-pip-version-check", "--no-deps"]
    settings = dict(os.environ, PIP_USER="0", PIP_REQUIRE_VIRTUALENV="0")
    mend = "The packages could not be installed. If this machine is online, the lines above say why."
    pins = os.path.join(root, ".venv", "pins.txt")
    with open(pins, "w", encoding="utf-8") as file:
        file.write(pins_for(read(os.path.join(root, "constraints.txt")), what))
    # Every file is one that was pinned, by its hash; the build tool is among them, so that nothing unpinned is fetched.
    run([*pip, "--require-hashes", "--only-binary", ":all:", "-r", pins], mend, settings)
    run([*pip, "--no-build-isolation", "-e", root + EXTRAS[what]], mend, settings)


def pins_for(text: str, what: str) -> str:
    """Return the part of constraints.txt that something needs: what is needed to run comes first there."""
    return text.partition(TO_WORK)[0] if what == "run" else text


def for_what(what: str) -> str:
    """Return the words that say what is installed for."""
    return "to run" if what == "run" else "to run and to be tested"


def ready_python(names: Sequence[str], may_install: bool) -> str:
    """Return a Python that will do; where Debian left venv out of one that is new enough, install that."""
    try:
        return choose_python(names)
    except NoPythonError as error:
        apt = MANAGERS[0]
        if not (may_install and error.without_venv and shutil.which(apt.program)):
            raise
        say("Python %s is here, but without venv, which makes virtual environments." % error.without_venv[0])
        if not install(apt._replace(names=("python%s-venv" % error.without_venv[0], "python3-venv"))):
            raise
        return choose_python(names)


def choose_python(names: Sequence[str]) -> str:
    """Return the first Python that is new enough and can make virtual environments.

    Raises `NoPythonError`, which says what each one lacks, when there is none.
    """
    lacking = {}  # type: Dict[str, str]
    without_venv = []
    for path in filter(None, map(shutil.which, names)):
        code, out, _ = probe([path, "-c", PYTHON_PROBE])
        if path in lacking or not out.strip():
            continue  # asked already, or a name that leads nowhere
        version = tuple(int(part) for part in out.strip().split("."))
        if version < OLDEST:
            lacking[path] = "it is Python " + out.strip()
        elif code != 0:
            without_venv.append(out.strip())
            lacking[path] = (
                "Python %s, but without venv; on Debian and Ubuntu `apt-get install python3-venv`"
                " (or python%s-venv) brings it" % (out.strip(), out.strip())
            )
        else:
            return path
    found = "".join("\n  %s: %s" % item for item in lacking.items()) or " none"
    raise NoPythonError(
        "Tercet needs Python %d.%d or newer, with venv. Found:%s\n"
        "Install one (your package manager or python.org has it), then run this again."
        " To point to one elsewhere: make PYTHON=/path/to/python3 ..." % (*OLDEST, found),
        without_venv,
    )


# What only the tests need


def ready_sources(root: str, python: str) -> None:
    """Fetch the pinned sources of packages whose tests hold tables that ours read."""
    folder = os.path.join(root, ".venv", "sources")
    pins = read(os.path.join(root, "constraints.txt"))
    for name in SOURCES:
        start = pins.index("\n" + name + "==") + 1
        # A pin goes on while its lines end in a backslash.
        pin = pins[start:].replace("\\\n", " ").partition("\n")[0]
        release = pin.split()[0].partition("==")[2]
        if os.path.exists(os.path.join(folder, "%s-%s.tar.gz" % (name, release))):
            continue
        os.makedirs(folder, exist_ok=True)
        wanted = os.path.join(folder, name + ".txt")
        with open(wanted, "w", encoding="utf-8") as file:
            file.write(pin + "\n")
        pip = [python, "-m", "pip", "download", "-qq", "--no-input", "--disable-pip-version-check"]
        # Its own build tool is pinned and installed already, so nothing unpinned is fetched.
        source = ["--no-deps", "--no-build-isolation", "--no-binary", name, "--require-hashes"]
        run([*pip, *source, "-d", folder, "-r", wanted], "The source of %s could not be fetched." % name)


def ready_compared(may_install: bool) -> None:
    """Install the programs that tests and benchmarks use; say so where that can't be done."""
    for program, packages in COMPARED.items():
        if shutil.which(program):
            continue
        manager = next(
            (one for one in MANAGERS if one.program in packages and shutil.which(one.program)), None
        )
        if manager is not None and may_install:
            say("%s, which tests use, is not on this machine." % program)
            if install(manager._replace(names=(packages[manager.program],))):
                continue
        say("%s is missing: tests that use it are left out here." % program)


# The FluidSynth library


def ready_fluidsynth(python: str, may_install: bool) -> None:
    """Install the FluidSynth library if pyfluidsynth can't find it."""
    problem = fluidsynth_problem(python)
    if not problem:
        return
    if FLUIDSYNTH_MISSING not in problem:
        raise SetUpError("The FluidSynth library is there, but can't be used:\n  " + problem)
    say("FluidSynth, the library that plays sound fonts, is not on this machine.")
    manager = next((one for one in MANAGERS if shutil.which(one.program)), None)
    if not may_install or manager is None or not install(manager):
        raise SetUpError(manual_instruction(platform.system(), manager))
    problem = fluidsynth_problem(python)
    if problem:
        raise SetUpError("It was installed, but Python still can't use it:\n  " + problem)
    say("FluidSynth is installed.")


def ready_for_pages(may_install: bool) -> bool:
    """Install what the tests of pages drive and is missing; whether all of it is there now.

    Without it the set-up goes on: all other tests run.
    """
    missing = [name for name, (programs, _) in FOR_PAGES.items() if not any(map(shutil.which, programs))]
    for name in list(missing):
        packages = FOR_PAGES[name][1]
        say("For the tests of pages this machine has no %s." % name)
        manager = next(
            (one for one in MANAGERS if one.program in packages and shutil.which(one.program)), None
        )
        if may_install and manager and install(manager._replace(names=packages[manager.program])):
            missing.remove(name)
        else:
            say("Install it by hand to run the tests in tests/browser; everything else works without it.")
    return not missing


def fluidsynth_problem(python: str) -> str:
    """Return why pyfluidsynth can't use the library (the last line of its report), or an empty text."""
    code, _, report = probe([python, "-c", FLUIDSYNTH_PROBE])
    return "" if code == 0 else (report.strip() or "Python stopped without a word").splitlines()[-1]


def ready_test_font(may_install: bool, path: str = TEST_FONT) -> None:
    """Install the sound font that some tests play with, beside the one in pretty_midi's package, if it is missing."""
    if os.path.exists(path):
        return
    say("A sound font that some tests play with, FluidR3_GM (148 MB), is not on this machine.")
    apt = MANAGERS[0]
    if may_install and shutil.which(apt.program) and install(apt._replace(names=(TEST_FONT_PACKAGE,))):
        return
    raise SetUpError(
        "It was not installed. On Debian and Ubuntu:\n  sudo %s %s\nElsewhere put the file at %s."
        " Without it those tests are skipped, which CI doesn't allow."
        % (" ".join(apt.install), TEST_FONT_PACKAGE, path)
    )


def install(manager: Manager) -> bool:
    """Install what the manager's names stand for, with a newer list of packages if need be; whether it worked."""
    prefix = administrator(manager)
    if prefix is None:
        return False
    name = best_name(manager)
    if name and announce([*prefix, *manager.install, name]):
        return True
    if not manager.refresh or not announce([*prefix, *manager.refresh]):
        return False
    name = best_name(manager)
    return bool(name) and announce([*prefix, *manager.install, name])


def best_name(manager: Manager) -> str:
    """Return the first of the manager's names that it knows, or an empty text."""
    known = (name for name in manager.names if not manager.knows or probe([*manager.knows, name])[0] == 0)
    return next(known, "")


def administrator(manager: Manager) -> Optional[List[str]]:
    """Return what stands before a command that needs the administrator's rights; None when they can't be had."""
    if not manager.as_root or (hasattr(os, "geteuid") and os.geteuid() == 0):
        return []
    if sys.stdin is not None and sys.stdin.isatty() and shutil.which("sudo"):
        return ["sudo"]
    # Nobody is there to type a password.
    return ["sudo", "-n"] if probe(["sudo", "-n", "true"])[0] == 0 else None


def announce(command: List[str]) -> bool:
    """Say what is about to be run, then run it; return whether it worked."""
    why = ", as administrator since it changes the whole system" if command[0] == "sudo" else ""
    say("This now runs%s:\n  %s" % (why, " ".join(command)))
    return subprocess.call(command, env=dict(os.environ, DEBIAN_FRONTEND="noninteractive")) == 0


def manual_instruction(system: str, manager: Optional[Manager]) -> str:
    """Return what a person must do to get the library by hand on a system, ``platform.system()``'s name."""
    if manager is not None:
        sudo = "sudo " if manager.as_root else ""
        lines = [
            "It was not installed by this set-up. Run this, or ask the administrator of this machine to:",
            "  %s%s %s" % (sudo, " ".join(manager.install), manager.names[0]),
        ]
    elif system == "Windows":
        lines = [
            "Get the zip for Windows of the latest release from FluidSynth's own site, and unpack it so that",
            "  C:\\tools\\fluidsynth\\bin",
            "holds fluidsynth-3.dll (libfluidsynth-3.dll before 2.4.5) and the files beside it; Tercet looks there.",
            "If it lies elsewhere, add its",
            "folder `bin` to PATH. The zip must match your Python: 64-bit for 64-bit (x64).",
        ]
    elif system == "Darwin":
        lines = [
            "Install Homebrew, then run `brew install fluid-synth`; or MacPorts, then `sudo port install fluidsynth`.",
        ]
    else:
        lines = [
            "Install your system's package that holds libfluidsynth.so.3 (or .2): it is called libfluidsynth3,",
            "fluidsynth-libs or fluidsynth.",
        ]
    return "\n".join(["How to get the FluidSynth library here:", *lines, "Then run this again."])


# Commands


def probe(command: Sequence[str]) -> Tuple[int, str, str]:
    """Run a command out of sight; return its exit code, what it printed and what it complained of."""
    try:
        done = subprocess.run(  # noqa: PLW1510
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            universal_newlines=True,
        )
    except OSError as error:
        return 127, "", str(error)
    return done.returncode, done.stdout, done.stderr


def run(command: Sequence[str], mend: str, settings: Optional[Dict[str, str]] = None) -> None:
    """Run a command in sight; `SetUpError` with the mend if it fails."""
    if subprocess.call(command, env=settings) != 0:
        raise SetUpError("%s\n  %s" % (mend, " ".join(command)))


if __name__ == "__main__":
    sys.exit(main())
