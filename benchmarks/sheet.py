"""How long the sheet of a three-minute song takes, as a whole process and step by step; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/sheet.py``.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

HERE = Path(__file__).resolve().parent
SONG = HERE.parent / "songs" / "harbour-lanterns.yaml"
FORM = ("form: verse verse chorus\n", "form: verse verse chorus verse verse chorus\n")
TEMPO = ("tempo: 92\n", "tempo: 96\n")
"""Six sections of sixteen bars, at 96 quarters a minute: three minutes."""

AIM_S = 2.0

_Made = TypeVar("_Made")


def main() -> int:
    """Time the command and its steps; exit code 1 if the command takes longer than is aimed at."""
    parser = argparse.ArgumentParser(description="Time the sheet of a three-minute song.")
    parser.add_argument("--rounds", type=int, default=5, help="runs (default 5)")
    rounds: int = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as folder:
        song = Path(folder, "three-minutes.yaml")
        song.write_text(SONG.read_text("utf-8").replace(*FORM).replace(*TEMPO), "utf-8")
        walls, processors = zip(
            *(_command(song, Path(folder, "sheet.pdf")) for _ in range(rounds)), strict=True
        )
        print(
            f"tercet sheet, whole process: {min(walls):.2f} s, of which {min(processors):.2f} s of a processor"
        )
        _steps(song)
    print(f"aim: less than {AIM_S:g} s")
    return int(min(walls) > AIM_S)


def _command(song: Path, sheet: Path) -> tuple[float, float]:
    """Run the command; return how long it took, and how much of a processor."""
    before, used = time.perf_counter(), os.times().children_user + os.times().children_system
    command = [sys.executable, "-m", "tercet", "sheet", str(song), "-o", str(sheet)]
    subprocess.run(command, check=True, capture_output=True, cwd=HERE.parent)
    after = os.times().children_user + os.times().children_system
    return time.perf_counter() - before, after - used


def _steps(song: Path) -> None:
    """Print how much of a processor each step takes within a process that has everything loaded."""
    from tercet.arrange import arrange
    from tercet.publish.engraving import engrave
    from tercet.publish.sheet_pages import sheet_of
    from tercet.publish.sheet_pdf import sheet_pdf
    from tercet.song import read_song

    sheet_pdf(sheet_of(arrange(read_song(song))))
    arrangement = _timed("read and arrange", lambda: arrange(read_song(song)))
    _timed("engrave once", lambda: engrave(arrangement))
    sheet = _timed("engrave, choose a size, lay out pages", lambda: sheet_of(arrangement))
    _timed("write the PDF", lambda: sheet_pdf(sheet))
    print(f"  {len(sheet.pages)} pages")


def _timed(what: str, make: Callable[[], _Made]) -> _Made:
    before = time.process_time()
    made = make()
    print(f"  {what}: {time.process_time() - before:.2f} s of a processor")
    return made


if __name__ == "__main__":
    sys.exit(main())
