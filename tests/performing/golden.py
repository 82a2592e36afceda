"""A take of four bars as text that a person can read; ``python -m tests.performing.golden --remake`` remakes it."""

from __future__ import annotations

import sys
from pathlib import Path

from tercet.arranging import Arrangement
from tercet.performing import Take, lay_out, perform
from tercet.song import Dynamics
from tests.performing.pieces import Visit, added, chop, piece, strum, tune

__all__ = ["GOLDEN", "four_bars", "remake", "take_text"]

GOLDEN = Path(__file__).with_name("four-bars.txt")


def four_bars() -> Arrangement:
    """Return four swung bars with a pick-up, marks, a ritard and a fermata, and all kinds of gesture."""
    strokes = [
        tune(0, "1/2", "1"), tune("1/2", "1/2", "1", "0005"),
        tune(1, 2, "4321"), strum(2, "1/2"), strum("5/2", "1/2", "234"), tune(3, 1, "2", layer="between"),
        tune(4, 1, "321", "2010", accent=True),
        tune(5, 3, "321", "2010"), chop(6, "1/2", "432", "2010"), strum("13/2", "1/2", "432", "2010", accent=True),
        added(7, "1/2", "3", "2010"), tune(8, 1, "21", "2010", layer="melody"),
        tune(9, 1, "432", "0212"), tune(10, 1, "1", "0212"), tune(11, "1/2", "2", "0212", layer="between"),
        tune("23/2", "3/2", "1", "0212"),
        tune(13, 4, "4321"), strum(14, 1), strum(15, 1),
    ]  # fmt: skip
    return piece(
        *strokes,
        tempo=96,
        swing="2/3",
        visits=[Visit("verse", 1, 2, pickup=strokes[2].beat), Visit("verse", 2, 2)],
        marks={0: "p@1 louder@1", 1: "f@1", 2: "softer@1", 3: "mp@1 rit@1", 4: "strums:pp@1 fermata@1"},
        dynamics=Dynamics(),
    )


def take_text(take: Take) -> str:
    """Return a take as text: one line for each stroke of the count-in, bar, point of the tempo map and note."""
    lines = [f"click {click.onset_s:8.4f} {'first' if click.first else ''}".rstrip() for click in take.clicks]
    lines += [
        f"bar   {bar.start_s:8.4f} {bar.end_s:8.4f}  {bar.number} {bar.section} {bar.pass_number}"
        for bar in take.bars
    ]
    lines += [f"tempo {point.onset_s:8.4f} at {point.take_beat}" for point in take.tempo_map]
    lines += [
        f"note  {note.onset_s:8.4f} {note.length_s:7.4f} s {note.level_db:7.2f} dB {note.velocity:3}  "
        f"string {note.string} fret {note.fret} key {note.midi}  {note.layer:7} {note.part:5} {note.action:6} "
        f"gesture {note.gesture:2}  {note.section} {note.pass_number}, bar {note.bar_index}, "
        f"beat {note.beat} for {note.length_beat}"
        for note in take.notes
    ]
    return "\n".join([*lines, f"end   {take.length_s:8.4f}", ""])


def remake() -> None:
    """Write the golden file again."""
    made = four_bars()
    GOLDEN.write_text(take_text(perform(made, lay_out(made))), encoding="utf-8")


if __name__ == "__main__" and sys.argv[1:] == ["--remake"]:
    remake()
