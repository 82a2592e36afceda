"""Check that all that Tercet needs to run comes as wheels, on each system that it is meant for: nothing is built.

``make wheels`` runs this. pip downloads the pins of constraints.txt for each system, with ``--only-binary=:all:``, into
a folder that is thrown away. What pip can't bring as a wheel makes it fail, and is named.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

from tools.set_up import pins_for

__all__ = ["SYSTEMS", "commands", "main"]

ROOT = Path(__file__).resolve().parent.parent
SYSTEMS: dict[str, tuple[str, ...]] = {
    "Windows x64": ("win_amd64",),
    "macOS arm64": ("macosx_14_0_arm64", "macosx_12_0_arm64", "macosx_11_0_arm64"),
    "Linux x86-64": ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"),
}
"""Each system, and the kinds of wheel that it takes."""

Run = Callable[[Sequence[str]], int]


def commands(pins: Path, folder: Path, python: str) -> dict[str, list[str]]:
    """Return for each system what to run."""
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-input", "--disable-pip-version-check"]
    asked = ["--no-deps", "--require-hashes", "--only-binary=:all:", "--python-version", python]
    return {
        system: [
            *pip,
            *asked,
            *(f"--platform={kind}" for kind in kinds),
            "-d",
            str(folder / kinds[0]),
            "-r",
            str(pins),
        ]
        for system, kinds in SYSTEMS.items()
    }


def main(arguments: Sequence[str] | None = None, run: Run = subprocess.call) -> int:
    """Ask pip for each system, and say what it has."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--python", default="3.11", help="for which Python (default: %(default)s)")
    python = parser.parse_args(arguments).python
    missing = []
    with tempfile.TemporaryDirectory() as base:
        pins = Path(base) / "pins.txt"
        pins.write_text(pins_for((ROOT / "constraints.txt").read_text("utf-8"), "run"), "utf-8")
        for system, command in commands(pins, Path(base), python).items():
            failed = run(command)
            print(
                f"{system}, Python {python}: {'something is missing' if failed else 'wheels of everything'}"
            )
            if failed:
                missing.append(system)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
