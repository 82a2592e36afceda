"""One playing of a section, bar by bar: which rows hold on a pass, and which chord goes on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from tercet.song.model import (
    ROW_NAMES,
    ChordSpan,
    Line,
    Mark,
    Note,
    Row,
    RowName,
    Section,
    Slot,
    Syllable,
    Visit,
)

__all__ = ["Step", "steps_of"]

_ROWS_OF_THE_TUNE: tuple[RowName, ...] = ("chords", "melody")


@dataclass(frozen=True, slots=True)
class Step:
    """One bar of one visit, or its pick-up, with the rows that hold on this pass.

    Parameters
    ----------
    visit
        Which playing of which section.
    section_bar, line
        Which bar of the section (from 1; 0 for the pick-up) and which of its lines (from 0).
    length_beat
        Length of the bar or of the pick-up.
    chords
        Chords that fill it; None in a pick-up that states none.
    melody, between, strum, words, marks
        What the row holds, or None.
    own
        Whether the tune or its chords were replaced for this pass.
    """

    visit: Visit
    section_bar: int
    line: int
    length_beat: Fraction
    chords: tuple[ChordSpan, ...] | None
    melody: tuple[Note, ...] | None
    between: tuple[Note, ...] | None
    strum: tuple[Slot, ...] | None
    words: tuple[Syllable, ...] | None
    marks: tuple[Mark, ...] | None
    own: bool


def steps_of(section: Section, visit: Visit, bar_beat: Fraction) -> Iterator[Step]:
    """Go through one playing of a section: its pick-up, if it has one, then its bars."""
    chord: ChordSpan | None = None
    plain_chord: ChordSpan | None = None
    section_bar = 1
    for line_index, line in enumerate(section.lines):
        rows = {name: _rows_for(line, name, visit) for name in ROW_NAMES}
        for index in range(-1 if line_index == 0 and section.pickup_beat else 0, line.bar_count):
            length = section.pickup_beat if index < 0 else bar_beat
            held = {name: _held(rows[name], index) for name in ROW_NAMES}
            plain_chord = _last_chord(_cell(rows["chords"][:1], index), plain_chord)
            chords = held["chords"]
            if chords is None and chord is not None and index >= 0:
                chords = (replace(chord, start_beat=Fraction(0), length_beat=length),)
            chord = _last_chord(chords, chord)
            own = any(_cell(rows[name][1:], index) is not None for name in _ROWS_OF_THE_TUNE)
            yield Step(
                visit,
                0 if index < 0 else section_bar,
                line_index,
                length,
                chords,
                held["melody"],
                held["between"],
                held["strum"],
                held["words"],
                held["marks"],
                own or not _same_chord(chord, plain_chord),
            )
            section_bar += index >= 0


def _rows_for(line: Line, name: RowName, visit: Visit) -> list[Row | None]:
    """Return the plain row of that name (or None), then those for this pass; the last one wins."""
    named = [row for row in line.rows if row.name == name]
    plain = next((row for row in named if not row.passes), None)
    numbered = [row for row in named if visit.pass_number in row.passes]
    last = [row for row in named if visit.last and -1 in row.passes and row not in numbered]
    return [plain, *numbered, *last]


def _held(rows: list[Row | None], index: int) -> Any:
    """Return what holds for a bar: the cell for this pass, or else the plain one."""
    special = _cell(rows[1:], index)
    return special if special is not None else _cell(rows[:1], index)


def _cell(rows: list[Row | None], index: int) -> Any:
    """Return a bar's cell (the pick-up's for −1) in the last of the rows that has one, or None."""
    for row in reversed(rows):
        if row is None:
            continue
        cell = row.pickup if index < 0 else row.bars[index]
        if cell is not None:
            return cell
    return None


def _last_chord(chords: tuple[ChordSpan, ...] | None, before: ChordSpan | None) -> ChordSpan | None:
    return chords[-1] if chords else before


def _same_chord(one: ChordSpan | None, other: ChordSpan | None) -> bool:
    if one is None or other is None:
        return one is other
    return one.played_as == other.played_as
