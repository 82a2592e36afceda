"""The piece as played: the form unrolled, each pass with its own rows, pick-ups laid into the bar before."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, TypeVar

from render.song.model import Bar, ChordSpan, Mark, Note, Row, RowName, Section, Slot, Song, Syllable, Visit

__all__ = ["played_bars"]

_Timed = TypeVar("_Timed", Note, ChordSpan)


@dataclass(frozen=True, slots=True)
class _Cells:
    """What the rows hold for one bar (or the pick-up) on one pass."""

    line: int
    chords: tuple[ChordSpan, ...] | None
    melody: tuple[Note, ...] | None
    between: tuple[Note, ...] | None
    strum: tuple[Slot, ...] | None
    words: tuple[Syllable, ...] | None
    marks: tuple[Mark, ...] | None
    own: bool


def played_bars(song: Song) -> tuple[Bar, ...]:
    """Return the bars of the piece in the order played, each with the rows that hold on its pass.

    The notes of a pick-up stand in the bar before, from its `Bar.pickup_from`; at the very start of the piece
    they are bar 0.
    """
    bars: list[Bar] = []
    start_beat = Fraction(0)
    struck_on = True
    for visit in song.form:
        section = song.section(visit.section)
        pickup, cells = _cells_of_visit(section, visit)
        if pickup is not None:
            if bars:
                bars[-1] = _with_pickup(bars[-1], pickup, section.pickup_beat)
            else:
                bars.append(_bar(visit, pickup, 0, 0, Fraction(0), section.pickup_beat))
                bars[-1] = replace(bars[-1], pickup_from=Fraction(0))
                start_beat = section.pickup_beat
        for index, cell in enumerate(cells, 1):
            number = bars[-1].number + 1 if bars else 1
            bars.append(_bar(visit, cell, number, index, start_beat, song.meter.bar_beat))
            start_beat += song.meter.bar_beat
    del struck_on
    return _with_words(bars)


def _with_words(bars: list[Bar]) -> tuple[Bar, ...]:
    """Give every struck note its syllable, now that it is known which notes are struck."""
    return tuple(bars)


def _rows_for(rows: tuple[Row, ...], name: RowName, visit: Visit) -> tuple[Row | None, list[Row]]:
    """Return the plain row of that name and the rows for this pass, those for the last pass at the end."""
    plain = next((row for row in rows if row.name == name and not row.passes), None)
    numbered = [row for row in rows if row.name == name and visit.pass_number in row.passes]
    last = [row for row in rows if row.name == name and visit.last and -1 in row.passes]
    return plain, numbered + [row for row in last if row not in numbered]


def _cells_of_visit(section: Section, visit: Visit) -> tuple[_Cells | None, list[_Cells]]:
    pickup: _Cells | None = None
    cells: list[_Cells] = []
    chord: ChordSpan | None = None
    plain_chord: ChordSpan | None = None
    for line_index, line in enumerate(section.lines):
        chosen = {name: _rows_for(line.rows, name, visit) for name in ("chords", "melody", "between", "strum", "words", "marks")}
        for index in range(-1 if line_index == 0 and section.pickup_beat else 0, line.bar_count):
            here: dict[str, Any] = {}
            own = False
            plain_chords: Any = None
            for name, (plain, special) in chosen.items():
                cell = _cell(plain, index)
                if name == "chords":
                    plain_chords = cell
                for row in special:
                    replaced = _cell(row, index)
                    if replaced is not None:
                        cell = replaced
                        own = own or name not in ("words", "marks")
                here[name] = cell
            length = line_length = section.pickup_beat if index < 0 else None
            del length, line_length
            if here["chords"] is None and chord is not None and index >= 0:
                here["chords"] = (replace(chord, start_beat=Fraction(0), length_beat=Fraction(-1)),)
            if here["chords"]:
                chord = here["chords"][-1]
            if plain_chords:
                plain_chord = plain_chords[-1]
            if chord and (plain_chord is None or (chord.chord, chord.shape) != (plain_chord.chord, plain_chord.shape)):
                own = True
            made = _Cells(line_index, own=own, **here)
            if index < 0:
                pickup = made
            else:
                cells.append(made)
    return pickup, cells


def _cell(row: Row | None, index: int) -> Any:
    if row is None:
        return None
    return row.pickup if index < 0 else row.bars[index]


def _bar(visit: Visit, cells: _Cells, number: int, section_bar: int, start_beat: Fraction, length: Fraction) -> Bar:
    chords = cells.chords or (ChordSpan(Fraction(0), length, None),)
    if chords[0].length_beat < 0:
        chords = (replace(chords[0], length_beat=length),)
    melody = cells.melody or (Note(Fraction(0), length),)
    return Bar(
        number=number,
        section=visit.section,
        pass_number=visit.pass_number,
        section_bar=section_bar,
        line=cells.line,
        start_beat=start_beat,
        length_beat=length,
        chords=chords,
        melody=melody,
        between=cells.between,
        strum=cells.strum,
        words=_place_words(melody, cells.words),
        marks=cells.marks or (),
        pickup_from=length,
        own=cells.own,
    )


def _place_words(notes: tuple[Note, ...], words: tuple[Syllable, ...] | None) -> tuple[tuple[Fraction, Syllable], ...]:
    struck = [n for i, n in enumerate(notes) if not n.is_rest and not (i and notes[i - 1].tied_on)]
    words = words or ()
    return tuple(zip([n.start_beat for n in struck[len(struck) - len(words):]], words, strict=False))


def _with_pickup(bar: Bar, pickup: _Cells, length: Fraction) -> Bar:
    at = bar.length_beat - length
    melody = bar.melody
    if pickup.melody is not None:
        melody = _cut(bar.melody, at) + _shift(pickup.melody, at)
    chords = bar.chords
    if pickup.chords is not None:
        chords = _cut(bar.chords, at) + _shift(pickup.chords, at)
    between = bar.between
    if pickup.between is not None:
        before = bar.between if bar.between is not None else (Note(Fraction(0), bar.length_beat),)
        between = _cut(before, at) + _shift(pickup.between, at)
    words = tuple(pair for pair in bar.words if pair[0] < at)
    if pickup.melody is not None:
        words += tuple((at + start, word) for start, word in _place_words(pickup.melody, pickup.words))
    marks = bar.marks + tuple(replace(mark, at_beat=mark.at_beat + at) for mark in pickup.marks or ())
    return replace(
        bar, melody=melody, chords=chords, between=between, words=words, marks=marks, pickup_from=at,
        own=bar.own or pickup.own,
    )


def _cut(items: tuple[_Timed, ...], at: Fraction) -> tuple[_Timed, ...]:
    return tuple(
        replace(item, length_beat=min(item.length_beat, at - item.start_beat)) for item in items if item.start_beat < at
    )


def _shift(items: tuple[_Timed, ...], by: Fraction) -> tuple[_Timed, ...]:
    return tuple(replace(item, start_beat=item.start_beat + by) for item in items)
