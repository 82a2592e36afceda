"""How long the sheet of a three-minute song takes, as a whole process and step by step; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/sheet.py``.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from measuring import Aims, asked, counted, parser_of, run, song_to_time, tercet

AIM_S = 2.0

_Made = TypeVar("_Made")


def main() -> int:
    """Time the command and its steps; exit code 1 if the command takes longer than is aimed at."""
    given = asked(parser_of("Time the sheet of a three-minute song.", 5))
    aims = Aims(judged=not given.short)
    with tempfile.TemporaryDirectory() as folder:
        song = song_to_time(Path(folder))
        places = [Path(folder, f"sheet-{number}.pdf") for number in range(given.rounds)]
        costs = [run(place, *tercet("sheet", song, "-o", place)) for place in places]
        worked_s = statistics.median(cost.worked_s for cost in costs)
        print(f"tercet sheet, whole process: {worked_s:.2f} s worked; made: {costs[-1].made}")
        _steps(song)
    aims.say("tercet sheet, seconds by the clock, least", min(cost.clock_s for cost in costs), most=AIM_S)
    return aims.exit_code


def _steps(song: Path) -> None:
    """Print how much of a processor each step takes within a process that has everything loaded."""
    from tercet.arranging import arrange
    from tercet.publish.score.engraving import engrave
    from tercet.publish.score.pages import sheet_of, sheet_pdf
    from tercet.song import read_song

    sheet_pdf(sheet_of(arrange(read_song(song))))
    arrangement = _timed("read and arrange", lambda: arrange(read_song(song)))
    _timed("engrave once", lambda: engrave(arrangement))
    sheet = _timed("engrave, choose a size, lay out pages", lambda: sheet_of(arrangement))
    _timed("write the PDF", lambda: sheet_pdf(sheet))
    counted("pages", len(sheet.pages))


def _timed(what: str, make: Callable[[], _Made]) -> _Made:
    before = time.process_time()
    made = make()
    print(f"  {what}: {time.process_time() - before:.2f} s of a processor")
    return made


if __name__ == "__main__":
    sys.exit(main())
