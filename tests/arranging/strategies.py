"""Songs, tunings and chords made up at random, for the laws that hold of all of them.

Songs are built in code, not read: the arranger is tested whether or not a reader is there.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from tercet.song import (
    ChordSpan,
    Line,
    Mark,
    Meter,
    Note,
    Pin,
    Row,
    RowName,
    Section,
    Slot,
    Song,
    Source,
    Visit,
)
from tercet.theory import STRUM_SIGNS, TUNINGS, Key, parse_chord, spell, tuning_of_pitches

__all__ = ["chord_names", "edited_last_bars", "edited_sections", "sections", "songs", "tunings", "visits"]

METERS = (Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(2, 4), Meter(9, 8), Meter(12, 8))
SLOTS = tuple(STRUM_SIGNS)
PINS = (
    Pin("roll"),
    Pin("alone"),
    Pin("roll", (4, 3, 2, 1)),
    Pin("roll", (3, 2)),
    Pin("alone", (1,)),
    Pin("alone", (4,)),
)

CHORDS = (
    *("C", "F", "G7", "G", "Am", "Dm", "D", "A", "A7", "D7", "E7", "Em", "Gm", "Bb", "B7", "C7", "Fm"),
    *("Cmaj7", "F#m7b5", "Ebdim7", "G7sus4", "D9", "Am/G", "C6", "Bbm", "Abaug", "E5", "A13"),
)
chord_names = st.sampled_from(CHORDS)
tunings = st.one_of(
    st.sampled_from(list(TUNINGS.values())),
    st.lists(st.integers(48, 72), min_size=4, max_size=4).map(
        lambda midis: tuning_of_pitches(tuple(spell(midi, Key("C", 0, False)) for midi in midis))
    ),
)
_lengths = st.sampled_from(
    [Fraction(1, 2), Fraction(1), Fraction(1), Fraction(3, 2), Fraction(2), Fraction(3)]
)
_midis = st.one_of(st.integers(60, 76), st.integers(50, 84))


@st.composite
def songs(draw: st.DrawFn, *, least: int = 1, most: int = 2) -> Song:
    """Draw a song of so many sections, with ties over bars, pins, pick-ups, passes, written rows."""
    meter = draw(st.sampled_from(METERS))
    names = ["verse", "chorus", "coda"][: draw(st.integers(least, most))]
    form = names + draw(st.lists(st.sampled_from(names), max_size=3))
    made = tuple(draw(sections(name, meter)) for name in names)
    bar_slots = st.lists(st.sampled_from(SLOTS), min_size=2 * meter.upper, max_size=2 * meter.upper)
    return Song(
        title="made up",
        sections=made,
        form=visits(form),
        key=Key("C", 0, False),
        meter=meter,
        tempo=Fraction(draw(st.integers(40, 200))),
        players=draw(st.sampled_from(["beginner", "improving", "free"])),
        instrument="custom",
        as_written=draw(st.booleans()),
        scale_length_mm=draw(st.sampled_from([346.0, 380.0, 430.0, 510.0])),
        strum=draw(st.none() | bar_slots.map(tuple)),
        between=draw(st.sampled_from(["as-written", "fill", "fill"])),
    )


@st.composite
def two_voices(draw: st.DrawFn) -> Song:
    """Draw a song with a written `between` row in most bars and pick-ups, and others for some passes."""
    plain = one_voice(draw(songs()))
    together = []
    for section in plain.sections:
        voiced = []
        for place, line in enumerate(section.lines):
            count = len(line.rows[0].bars)
            pickup_beat = section.pickup_beat if place == 0 else Fraction(0)
            passes = [(), *draw(st.lists(st.sampled_from([(2,), (1, 3), (-1,)]), max_size=1))]
            voices = [draw(_voice(plain.meter, count, pickup_beat, numbers)) for numbers in passes]
            voiced.append(Line((*line.rows, *voices)))
        together.append(replace(section, lines=tuple(voiced)))
    return replace(plain, sections=tuple(together))


def one_voice(song: Song) -> Song:
    """Return a song without its written `between` rows."""
    sections = [
        replace(
            section,
            lines=tuple(
                Line(tuple(row for row in line.rows if row.name != "between")) for line in section.lines
            ),
        )
        for section in song.sections
    ]
    return replace(song, sections=tuple(sections), between="as-written")


@st.composite
def _voice(draw: st.DrawFn, meter: Meter, count: int, pickup_beat: Fraction, passes: tuple[int, ...]) -> Row:
    """Draw a `between` row for some passes, with most of its bars written."""
    written = [draw(st.integers(0, 3)) > 0 for _ in range(count)]
    cells = [draw(_free_bars(meter)) if is_written else None for is_written in written]
    pickup = None
    if pickup_beat and draw(st.booleans()):
        pickup = _cut(draw(_notes(pickup_beat)), [pickup_beat])[0]
    return Row("between", passes, tuple(cells), pickup)


@st.composite
def edited_sections(draw: st.DrawFn) -> tuple[Song, Song]:
    """Draw a song, and the same song with its last section written anew; their bars are equally long."""
    song = draw(songs(least=2, most=3))
    last = song.sections[-1]
    anew = draw(sections(last.name, song.meter, last.pickup_beat))
    return song, replace(song, sections=(*song.sections[:-1], anew))


@st.composite
def edited_last_bars(draw: st.DrawFn) -> tuple[Song, Song]:
    """Draw a song, and the same with other pitches in the last bar of the section that is played first the latest."""
    song = draw(songs())
    first_played = list(dict.fromkeys(visit.section for visit in song.form))
    section = song.section(first_played[-1])
    *lines, line = section.lines
    rows = []
    for row in line.rows:
        cell = row.bars[-1]
        if row.name == "melody" and not row.passes and cell is not None:
            pitch = spell(draw(_midis), song.key)
            notes = [item for item in cell if isinstance(item, Note)]
            cell = tuple(
                note if note.goes_on else replace(note, pitch=pitch, position=None, pin=None)
                for note in notes
            )
        rows.append(replace(row, bars=(*row.bars[:-1], cell)))
    edited = replace(section, lines=(*lines, Line(tuple(rows))))
    sections = tuple(edited if other is section else other for other in song.sections)
    return song, replace(song, sections=sections)


def visits(names: list[str]) -> tuple[Visit, ...]:
    """Return the visits of a form, one for each name."""
    return tuple(
        Visit(name, names[: place + 1].count(name), name not in names[place + 1 :])
        for place, name in enumerate(names)
    )


@st.composite
def sections(draw: st.DrawFn, name: str, meter: Meter, pickup_beat: Fraction | None = None) -> Section:
    """Draw a section of one or two lines, perhaps with a pick-up, and with rows of its own for the second pass."""
    if pickup_beat is None:
        pickup_beat = draw(st.sampled_from([Fraction(0), Fraction(0), Fraction(1), Fraction(1, 2)]))
    lines = []
    for place in range(draw(st.integers(1, 2))):
        line = draw(_lines(meter))
        if place == 0 and pickup_beat:
            pickup = _cut(draw(_notes(pickup_beat)), [pickup_beat])[0]
            melody = replace(line.rows[1], pickup=pickup)
            line = Line((line.rows[0], melody, *line.rows[2:]))
        lines.append(line)
    return Section(name, tuple(lines), pickup_beat)


@st.composite
def _lines(draw: st.DrawFn, meter: Meter) -> Line:
    count = draw(st.integers(1, 3))
    bars = [meter.bar_beat] * count
    melody = _cut(draw(_notes(sum(bars, Fraction(0)))), bars)
    rows = [Row("chords", (), tuple(draw(_chord_cells(meter)) for _ in bars)), Row("melody", (), melody)]
    rows += draw(_some_row("between", _free_bars(meter), count))
    rows += draw(_some_row("strum", _slot_bars(meter), count))
    whole = [place for place in range(count) if _stands_alone(melody, place)]
    if draw(st.booleans()) and whole:
        place = draw(st.sampled_from(whole))
        cell = _cut(draw(_notes(meter.bar_beat)), [meter.bar_beat])[0]
        rows.append(Row("melody", (2,), tuple(cell if bar == place else None for bar in range(count))))
    if draw(st.booleans()):
        rows.append(Row("chords", (2,), (draw(_chord_cells(meter)), *[None] * (count - 1))))
    breath = (Mark(Fraction(0), "breath"),)
    rows.append(Row("marks", (), tuple(breath if draw(st.booleans()) else None for _ in bars)))
    return Line(tuple(rows))


def _stands_alone(melody: tuple[tuple[Note, ...], ...], place: int) -> bool:
    """Whether no note goes on into a bar or out of it."""
    return not any(bar[0].goes_on for bar in melody[place : place + 2])


@st.composite
def _notes(draw: st.DrawFn, length_beat: Fraction) -> list[Note]:
    """Draw notes and rests that fill a stretch."""
    notes = []
    at_beat = Fraction(0)
    while at_beat < length_beat:
        note_beat = min(draw(_lengths), length_beat - at_beat)
        notes.append(draw(_one_note(at_beat, note_beat)))
        at_beat += note_beat
    return notes


@st.composite
def _one_note(draw: st.DrawFn, at_beat: Fraction, length_beat: Fraction) -> Note:
    kind = draw(st.integers(0, 19))
    source = Source(draw(st.integers(1, 9)), 1)
    if kind < 2:
        return Note(at_beat, length_beat)
    if kind == 2:
        position = (draw(st.integers(1, 4)), draw(st.integers(0, 9)))
        return Note(at_beat, length_beat, position=position, source=source)
    pin = draw(st.sampled_from(PINS)) if kind in (3, 4) else None
    pitch = spell(draw(_midis), Key("C", 0, False))
    return Note(at_beat, length_beat, pitch, pin=pin, source=source)


def _cut(notes: list[Note], bars: list[Fraction]) -> tuple[tuple[Note, ...], ...]:
    """Cut a run of notes at bar lines: a note goes on over one."""
    cells: list[tuple[Note, ...]] = []
    start_beat = Fraction(0)
    for length_beat in bars:
        end_beat = start_beat + length_beat
        cell = []
        for note in notes:
            first = max(note.start_beat, start_beat)
            last = min(note.start_beat + note.length_beat, end_beat)
            if first < last:
                goes_on = not note.is_rest and first > note.start_beat
                kept = Note(note.start_beat, note.length_beat, goes_on=True) if goes_on else note
                cell.append(replace(kept, start_beat=first - start_beat, length_beat=last - first))
        cells.append(tuple(cell))
        start_beat = end_beat
    return tuple(cells)


@st.composite
def _chord_cells(draw: st.DrawFn, meter: Meter) -> tuple[ChordSpan, ...] | None:
    """Draw the chords of a bar: none written, one, N.C., one with a pinned shape, or two."""
    kind = draw(st.integers(0, 9))
    whole = meter.bar_beat
    if kind == 0:
        return None
    if kind == 1:
        return (ChordSpan(Fraction(0), whole, None),)
    chord = parse_chord(draw(chord_names))
    if kind == 2:
        frets = tuple(draw(st.lists(st.none() | st.integers(0, 3), min_size=4, max_size=4)))
        return (ChordSpan(Fraction(0), whole, chord, frets),)
    if kind < 7:
        return (ChordSpan(Fraction(0), whole, chord),)
    other = parse_chord(draw(chord_names))
    return (ChordSpan(Fraction(0), Fraction(1), chord), ChordSpan(Fraction(1), whole - 1, other))


@st.composite
def _free_bars(draw: st.DrawFn, meter: Meter) -> tuple[Note, ...]:
    return _cut(draw(_notes(meter.bar_beat)), [meter.bar_beat])[0]


@st.composite
def _slot_bars(draw: st.DrawFn, meter: Meter) -> tuple[Slot, ...]:
    count = meter.upper * draw(st.integers(1, 2))
    return tuple(draw(st.lists(st.sampled_from(SLOTS), min_size=count, max_size=count)))


@st.composite
def _some_row(
    draw: st.DrawFn,
    name: RowName,
    cells: st.SearchStrategy[tuple[Note, ...] | tuple[Slot, ...]],
    count: int,
) -> list[Row]:
    """Draw a row in which some bars are written, or none."""
    if draw(st.integers(0, 2)):
        return []
    bars = tuple(draw(cells) if draw(st.booleans()) else None for _ in range(count))
    return [Row(name, (), bars)]
