"""What a style promises, measured in the files that a user gets: the tab of `tercet check`, and MIDI files."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log10

from tests.measure.midi import SEARCH_S, MidiFile, MidiNote, written_time_s
from tests.measure.song_text import SongText

__all__ = ["TabFigures", "clear_db", "overlapping", "tab_figures", "tune_in"]

LINE = re.compile(r"^\S+ +\|")
DECAY_DB_PER_S = 20.0
"""A plucked string falls by 60 dB in about 3 s."""

OVERLAP_S = 0.05
WHOLE_STEP_SEMITONES = 2


@dataclass(frozen=True, slots=True)
class TabFigures:
    """What a tab shows of its tune.

    Parameters
    ----------
    strings
        For each note of the tune the line on which it stands, 1 for the uppermost; of a roll the last string struck.
    rolls
        How many of them are rolled.
    behind
        How many notes are struck behind it, one at a time.
    """

    strings: tuple[int, ...]
    rolls: int
    behind: int

    @property
    def different(self) -> float:
        """The share of neighbouring notes that stand on different lines."""
        steps = list(pairwise(self.strings))
        return sum(old != new for old, new in steps) / len(steps)


def tab_figures(tab: str) -> TabFigures:
    """Read a tab: four lines, and under them a row of signs (R a roll, M and b the tune alone, + what is added)."""
    rows = tab.splitlines()
    strings: list[int] = []
    rolls = behind = 0
    for place, row in enumerate(rows[4:], 4):
        above = rows[place - 4 : place]
        if not all(LINE.match(line) for line in above) or LINE.match(row):
            continue
        for sign in re.finditer(r"[RMb+]", row):
            lines = [
                number
                for number, line in enumerate(above, 1)
                if sign.start() < len(line) and line[sign.start()].isdigit()
            ]
            if sign[0] == "+":
                behind += 1
            elif lines:
                strings.append(lines[0])
                rolls += sign[0] == "R"
    return TabFigures(tuple(strings), rolls, behind)


def tune_in(file: MidiFile, song: SongText) -> tuple[MidiNote | None, ...]:
    """Return for each written note of the tune the loudest of its pitch near its place, or None."""
    free = [note for layer in ("melody", "between") for note in file.tracks.get(layer, ())]
    found: list[MidiNote | None] = []
    for written in song.tune:
        due_s = written_time_s(file, song, song.swung(written.beat))
        near = [note for note in free if note.midi == written.midi and abs(note.onset_s - due_s) <= SEARCH_S]
        found.append(max(near, key=lambda note: note.velocity, default=None))
        if found[-1] is not None:
            free.remove(found[-1])
    return tuple(found)


def overlapping(tune: Sequence[MidiNote]) -> float:
    """Return the share of a tune's whole steps in which the first note sounds on by `OVERLAP_S` over the second."""
    steps = [(old, new) for old, new in pairwise(tune) if abs(old.midi - new.midi) == WHOLE_STEP_SEMITONES]
    return sum(old.end_s > new.onset_s + OVERLAP_S for old, new in steps) / len(steps)


def clear_db(note: MidiNote, file: MidiFile, tune: Collection[MidiNote]) -> float:
    """Return how far a note stands above the loudest string behind the tune that sounds then, by velocity and decay.

    Velocity tells level by the square law of SoundFont: 40 · log10(v/127) dB.
    """
    behind = [
        _level_db(other) - DECAY_DB_PER_S * (note.onset_s - other.onset_s)
        for other in file.tracks.get("between", ())
        if other not in tune and other.onset_s <= note.onset_s < other.end_s
    ]
    return _level_db(note) - max(behind) if behind else float("inf")


def _level_db(note: MidiNote) -> float:
    return 40.0 * log10(note.velocity / 127.0)
