"""What the property tests draw from: pieces of songs, whole songs, and slips made in their text."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any, get_args

from hypothesis import strategies as st

from tercet.neck.hands import HandLimits, HandTable, hand_table
from tercet.song import (
    LEAD_INS,
    ROW_NAMES,
    ChordSpan,
    Dynamics,
    Line,
    Mark,
    Meter,
    Note,
    OwnTrack,
    Pin,
    Row,
    Section,
    SectionStyle,
    Song,
    Source,
    Style,
    Syllable,
    Visit,
)
from tercet.song.added_bars import check_added
from tercet.song.form import visits_of
from tercet.song.mistakes import MistakeBook
from tercet.song.note_choice import (
    DIMENSIONS,
    BarsOfSection,
    Both,
    Choice,
    Either,
    NoteFacts,
    Numbered,
    Parity,
    Unless,
    Word,
    never_together,
)
from tercet.song.played import played_bars
from tercet.song.track_settings import OWN_FORMS
from tercet.theory import DYNAMIC_MARKS, STRUM_SIGNS, Key, Pitch, allowed_open
from tercet.theory.chords import QUALITIES, Chord

__all__ = [
    "choices",
    "chords",
    "keys",
    "note_facts",
    "notes_filling",
    "own_tracks",
    "pitches",
    "slips",
    "songs",
]

_METERS = (Meter(4, 4), Meter(3, 4), Meter(2, 4), Meter(6, 8), Meter(9, 8), Meter(5, 8), Meter(2, 2))
_KEYS = tuple(
    key
    for letter, alter, minor in itertools.product("ABCDEFG", (-1, 0, 1), (False, True))
    if -7 <= (key := Key(letter, alter, minor)).fifths <= 7
)
_PINS = (None, None, None, Pin("roll"), Pin("alone"), Pin("roll", (3, 2, 1)), Pin("alone", (2,)))

keys = st.sampled_from(_KEYS)
pitches = st.builds(
    Pitch, st.sampled_from("ABCDEFG"), st.sampled_from((0, 0, 0, 1, -1, 2, -2)), st.integers(2, 6)
)
_roots = st.tuples(st.sampled_from("ABCDEFG"), st.sampled_from((0, 0, 1, -1)))
chords = st.builds(
    lambda root, quality, bass: Chord(root[0], root[1], quality, bass),
    _roots,
    st.sampled_from(QUALITIES),
    st.none() | _roots,
)
_texts = (
    st.text(st.characters(codec="utf-8", exclude_categories=("C", "Zl", "Zp")), min_size=1, max_size=30)
    .map(lambda text: " ".join(text.split()))
    .filter(bool)
)
_syllables = st.sampled_from(("la", "lan", "terns", "sea,", "«oh»", "don't", "last", "2", "über", "海", "a#"))


@st.composite
def _cuts(draw: st.DrawFn, length: Fraction, step: Fraction, most: int) -> list[tuple[Fraction, Fraction]]:
    """Cut a length at multiples of a step; return start and length of each part."""
    places = [step * index for index in range(1, int(length / step))]
    chosen = draw(st.sets(st.sampled_from(places), max_size=most - 1)) if places else set()
    edges = [Fraction(0), *sorted(chosen), length]
    return [(start, end - start) for start, end in itertools.pairwise(edges)]


@st.composite
def notes_filling(draw: st.DrawFn, length: Fraction) -> tuple[Note, ...]:
    """Notes and rests that fill a length, some going on; the first is one that nothing needs to come before."""
    step = draw(st.sampled_from((Fraction(1), Fraction(1, 2), Fraction(1, 3), Fraction(1, 4))))
    notes: list[Note] = []
    for start, part in draw(_cuts(length, step, 5)):
        goes_on = ("goes on",) if notes and not notes[-1].is_rest else ()
        kind = draw(st.sampled_from(("pitch", "pitch", "pitch", "rest", "position", *goes_on)))
        if kind == "rest":
            notes.append(Note(start, part))
        elif kind == "goes on":
            notes.append(Note(start, part, goes_on=True))
        elif kind == "pitch":
            notes.append(Note(start, part, draw(pitches), pin=draw(st.sampled_from(_PINS))))
        else:
            position = (draw(st.integers(1, 4)), draw(st.integers(0, 12)))
            pin = draw(st.sampled_from((None, Pin("roll"))))
            notes.append(Note(start, part, position=position, pin=pin))
    return tuple(notes)


@st.composite
def _chords_filling(draw: st.DrawFn, length: Fraction) -> tuple[ChordSpan, ...]:
    spans = []
    for start, part in draw(_cuts(length, Fraction(1), 3)):
        chord = draw(st.none() | chords)
        fret = st.none() | st.integers(0, 12)
        shape: tuple[int | None, ...] | None = None
        fingers: tuple[int, ...] | None = None
        if chord:
            shape = draw(st.none() | st.tuples(st.integers(0, 12), fret, fret, fret))
        if chord and draw(st.integers(0, 3)) == 0:
            shape, fingers = draw(_fingered_shapes())
        spans.append(ChordSpan(start, part, chord, shape, fingers))
    return tuple(spans)


@cache
def _hands() -> HandTable:
    return hand_table(HandLimits(12), 510.0)


@st.composite
def _fingered_shapes(draw: st.DrawFn) -> tuple[tuple[int | None, ...], tuple[int, ...]]:
    """Return frets, and fingers with which some hand holds them; open strings may be left out, but for string 4."""
    hand = _hands().hand(draw(st.integers(0, len(_hands()) - 1)))
    left_out = draw(st.sets(st.sampled_from((1, 2, 3))))
    frets = (None if not fret and place in left_out else fret for place, fret in enumerate(hand.frets))
    return tuple(frets), hand.fingers


@st.composite
def _words_for(draw: st.DrawFn, notes: tuple[Note, ...]) -> tuple[Syllable, ...] | None:
    count = sum(note.is_struck for note in notes)
    if not count or draw(st.booleans()):
        return None
    return tuple(
        Syllable(draw(_syllables), draw(st.booleans())) if draw(st.integers(0, 4)) else Syllable("")
        for _ in range(count)
    )


@st.composite
def _marks_in(draw: st.DrawFn, length: Fraction) -> tuple[Mark, ...] | None:
    kinds: list[tuple[Any, str, Any]] = [
        ("dynamic", draw(st.sampled_from(DYNAMIC_MARKS)), None),
        ("dynamic", draw(st.sampled_from(DYNAMIC_MARKS)), "strums"),
        *((kind, "", None) for kind in ("rit", "a-tempo", "fermata", "breath")),
        ("accent", "", "melody"),
    ]
    chosen = draw(st.lists(st.sampled_from(kinds), unique=True, max_size=3))
    place = st.integers(0, int(length * 2) - 1).map(lambda half: Fraction(half, 2))
    marks = [Mark(draw(place), kind, value, layer) for kind, value, layer in chosen]
    if length > 1 and draw(st.booleans()):
        marks = [
            Mark(Fraction(0), "hairpin", draw(st.sampled_from(("louder", "softer")))),
            Mark(length - 1, "dynamic", "mf"),
        ]
    return tuple(marks) or None


@st.composite
def _line(draw: st.DrawFn, meter: Meter, count: int, pickup: Fraction, is_first: bool, is_last: bool) -> Line:
    bar = meter.bar_beat
    rows: list[Row] = []
    chord_bars = [draw(_chords_filling(bar)) if draw(st.booleans()) else None for _ in range(count)]
    if is_first and chord_bars[0] is None:
        chord_bars[0] = (ChordSpan(Fraction(0), bar, draw(chords)),)
    if is_first or draw(st.booleans()):
        pickup_chords = draw(st.none() | _chords_filling(pickup)) if pickup >= 1 else None
        rows.append(Row("chords", (), tuple(chord_bars), pickup_chords))
    melody = [draw(notes_filling(bar)) for _ in range(count)]
    if is_last:
        melody[-1] = (Note(Fraction(0), bar, draw(st.none() | pitches)),)
    pickup_notes = draw(notes_filling(pickup)) if pickup else None
    rows.append(Row("melody", (), tuple(melody), pickup_notes))
    if draw(st.booleans()):
        words = tuple(draw(_words_for(notes)) for notes in melody)
        rows.append(Row("words", (), words, draw(_words_for(pickup_notes)) if pickup_notes else None))
    elif count > 1:
        special = tuple(draw(notes_filling(bar)) if index == 0 else None for index in range(count))
        rows.append(Row("melody", draw(st.sampled_from(((1,), (-1,), (1, -1)))), special))
    if draw(st.booleans()):
        between = tuple(draw(st.none() | notes_filling(bar)) for _ in range(count - is_last))
        rows.append(Row("between", (), between + (None,) * is_last))
    if draw(st.booleans()):
        slot = st.sampled_from(list(STRUM_SIGNS))
        pattern = st.lists(slot, min_size=meter.upper, max_size=meter.upper).map(tuple)
        times = draw(st.sampled_from((1, 2)))
        rows.append(
            Row("strum", (), tuple(draw(st.none() | pattern.map(lambda p: p * times)) for _ in range(count)))
        )
    if draw(st.booleans()):
        pickup_marks = draw(_marks_in(pickup)) if pickup >= 1 else None
        rows.append(Row("marks", (), tuple(draw(_marks_in(bar)) for _ in range(count)), pickup_marks))
    order = draw(st.permutations(rows))
    return Line(
        tuple(sorted(order, key=lambda row: ROW_NAMES.index(row.name)) if draw(st.booleans()) else order)
    )


@st.composite
def _section(draw: st.DrawFn, name: str, meter: Meter) -> Section:
    halves = st.integers(1, int(meter.bar_beat * 2) - 1).map(lambda half: Fraction(half, 2))
    pickup = draw(st.just(Fraction(0)) | halves)
    counts = draw(st.lists(st.integers(1, 3), min_size=1, max_size=2))
    lines = [
        draw(_line(meter, count, Fraction(0) if index else pickup, index == 0, index == len(counts) - 1))
        for index, count in enumerate(counts)
    ]
    return Section(name, tuple(lines), pickup)


_speed_parts = st.sampled_from((Fraction(1, 2), Fraction(7, 10), Fraction(2, 3), Fraction(1), Fraction(8, 7)))


@st.composite
def own_tracks(draw: st.DrawFn, sections: tuple[Section, ...]) -> tuple[OwnTrack, ...]:
    """Tracks of one's own, as the reader makes them, over bars that are there."""
    names = draw(st.lists(st.sampled_from(("mine", "yours", "hard-bars", "a2")), max_size=3, unique=True))
    words = st.sampled_from(
        ("open", "roll or single", f"section {sections[0].name}", "bar 1 and not strings 1-2")
    )
    tracks = []
    for name in names:
        way = draw(st.sampled_from(OWN_FORMS))
        by_turns = way in ("echo", "turns")
        several = draw(st.lists(_speed_parts, min_size=2, max_size=3, unique=True))
        one = draw(st.just(()) | _speed_parts.map(lambda speed: (speed,)))
        share = draw(st.sampled_from(("yours", "heard")))
        tracks.append(
            OwnTrack(
                name=name,
                purpose=draw(st.just("") | _texts),
                yours=draw(words) if share == "yours" else "",
                heard=draw(words) if share == "heard" else "",
                guide=draw(st.just("") | words),
                way=way,
                bars=draw(st.sampled_from(("", "1", sections[0].name, f"{sections[0].name}@last:1"))),
                by=draw(st.sampled_from(("phrase", "bar", "section"))) if by_turns else "phrase",
                speeds=tuple(several) if way == "ladder" else one,
                times=draw(st.none() | st.integers(1, 50)) if way == "loop" else None,
                swap=draw(st.booleans()) if way == "turns" else False,
            )
        )
    return tuple(tracks)


def _first_notes(song: Song) -> list[tuple[int, int, int, int]]:
    """Return where notes stand first in a cell without words: section, line, row and bar (-1 for the pick-up)."""
    return [
        (part, place, index, bar)
        for part, section in enumerate(song.sections)
        for place, line in enumerate(section.lines)
        for index, row in enumerate(line.rows)
        if row.name == "between"
        or (row.name == "melody" and all(other.name != "words" for other in line.rows))
        for bar, cell in zip((-1, *range(len(row.bars))), (row.pickup, *row.bars), strict=True)
        if cell and isinstance(cell[0], Note) and cell[0].is_struck
    ]


def _going_on_at(song: Song, part: int, place: int, index: int, bar: int) -> Song:
    """Return the song with the first note of a cell going on with what comes before it."""
    section = song.sections[part]
    line = section.lines[place]
    row = line.rows[index]
    notes = (row.pickup if bar < 0 else row.bars[bar]) or ()
    cell = (replace(notes[0], pitch=None, position=None, pin=None, goes_on=True), *notes[1:])  # type: ignore[type-var]
    row = (
        replace(row, pickup=cell)
        if bar < 0
        else replace(row, bars=(*row.bars[:bar], cell, *row.bars[bar + 1 :]))
    )
    line = Line((*line.rows[:index], row, *line.rows[index + 1 :]))
    section = replace(section, lines=(*section.lines[:place], line, *section.lines[place + 1 :]))
    return replace(song, sections=(*song.sections[:part], section, *song.sections[part + 1 :]))


def _rests(song: Song) -> int:
    return sum(
        note.is_rest for bar in played_bars(song) for row in (bar.melody, bar.between or ()) for note in row
    )


@st.composite
def _with_notes_going_on(draw: st.DrawFn, song: Song) -> Song:
    """Let notes go on over bar lines, lines, pick-ups and sections, wherever something always sounds before them."""
    found = _first_notes(song)
    for place in draw(st.lists(st.sampled_from(found), max_size=4, unique=True)) if found else ():
        held = _going_on_at(song, *place)
        if _rests(held) == _rests(song):
            song = held
    return song


@st.composite
def _with_added_bars(draw: st.DrawFn, song: Song) -> Song:
    """Let a song have an intro, turnarounds and a tag, where it has the bars and the chords for them."""
    few = st.integers(0, 3)
    added = replace(
        song, intro_bars=draw(few), turnaround_bars=draw(few), tag_bars=draw(st.none() | st.integers(0, 3))
    )
    if draw(st.booleans()) and added.intro_bars:
        names = [visit.section for visit in song.form]
        names.insert(draw(st.integers(0, len(names))), "intro")
        added = replace(added, form=visits_of(names))
    places = dict.fromkeys((*LEAD_INS, "ending"), Source(0, 0))
    return added if check_added(added, places, frozenset(), MistakeBook("", [])) else song


@st.composite
def songs(draw: st.DrawFn) -> Song:
    """Songs as the reader makes them."""
    meter = draw(st.sampled_from(_METERS))
    names = draw(
        st.lists(st.sampled_from(("verse", "chorus", "coda", "part-2")), min_size=1, max_size=3, unique=True)
    )
    sections = tuple(draw(_section(name, meter)) for name in names)
    form: tuple[Visit, ...] = visits_of(names + draw(st.lists(st.sampled_from(names), max_size=3)))
    dynamics = st.builds(Dynamics, *[st.sampled_from(DYNAMIC_MARKS)] * 3)
    strum = st.lists(st.sampled_from(list(STRUM_SIGNS)), min_size=meter.upper, max_size=meter.upper).map(
        tuple
    )
    instrument, scale = draw(st.sampled_from((("concert", 380.0), ("baritone", 510.0), ("custom", 402.5))))
    song = Song(
        title=draw(_texts),
        sections=sections,
        form=form,
        composer=draw(st.just("") | _texts),
        source_note=draw(st.just("") | _texts),
        licence=draw(st.sampled_from(("", "CC0-1.0"))),
        key=draw(keys),
        meter=meter,
        tempo=draw(st.sampled_from((Fraction(92), Fraction(185, 2), Fraction(277, 3), Fraction(6012, 100)))),
        instrument=instrument,
        scale_length_mm=scale,
        tuning=draw(
            st.sampled_from(("high-g", "low-g", "baritone")) | st.tuples(*[pitches.map(allowed_open)] * 4)
        ),
        players=draw(st.sampled_from(("beginner", "improving", "free"))),
        dynamics=draw(dynamics),
        strum=draw(st.none() | strum),
        between=draw(st.sampled_from(("as-written", "fill"))),
        **draw(_styles(form)),
        swing=draw(st.sampled_from((Fraction(1, 2), Fraction(2, 3), Fraction(3, 5)))),
        front=draw(st.none() | st.sampled_from((Fraction(0), Fraction(9), Fraction(21, 2)))),
        feel=draw(st.sampled_from(("steady", "natural", "loose"))),
        rit=draw(st.sampled_from(("end", "none"))),
        sound=draw(st.none() | _texts),
        count_in_bars=draw(st.none() | st.integers(0, 8)),
        tracks=draw(st.just(()) | own_tracks(sections)),
    )
    return draw(_with_notes_going_on(draw(_with_added_bars(song))))


@st.composite
def _styles(draw: st.DrawFn, form: tuple[Visit, ...]) -> dict[str, Any]:
    """A style for the song, or for some of its sections and passes; most songs have the usual one."""
    style = st.sampled_from(get_args(Style))
    if draw(st.booleans()):
        return {"style": draw(st.just("rolls") | style)}
    places = st.sampled_from(
        [(visit.section, passed) for visit in form for passed in (None, visit.pass_number, -1)]
    )
    chosen = draw(st.lists(places, min_size=1, max_size=3, unique=True))
    return {"section_styles": tuple(SectionStyle(*place, draw(style)) for place in chosen)}


_sections = st.sampled_from(("verse", "chorus", "und", "or"))
note_facts = st.builds(
    NoteFacts,
    layer=st.sampled_from(("melody", "between", "strums")),
    string=st.integers(1, 4),
    fret=st.integers(0, 3),
    action=st.sampled_from(("roll", "single", "strum", "chop")),
    part=st.sampled_from(("tune", "added", "chord")),
    bar_number=st.integers(0, 9),
    section=_sections,
    section_bar=st.integers(0, 4),
    pass_number=st.integers(1, 3),
    last_pass=st.booleans(),
    phrase=st.integers(1, 5),
)


@st.composite
def _ranges(draw: st.DrawFn, least: int, most: int) -> tuple[tuple[int, int], ...]:
    """Runs of numbers as the reader makes them: rising, with a gap between one and the next."""
    numbers = draw(st.sets(st.integers(least, most), min_size=1, max_size=4))
    runs: list[tuple[int, int]] = []
    for number in sorted(numbers):
        if runs and runs[-1][1] + 1 == number:
            runs[-1] = (runs[-1][0], number)
        else:
            runs.append((number, number))
    return tuple(runs)


_atoms: st.SearchStrategy[Choice] = st.one_of(
    st.sampled_from([Word(word) for words in DIMENSIONS.values() for word in words]),
    st.builds(Numbered, st.just("string"), _ranges(1, 4)),
    st.builds(Numbered, st.just("bar"), _ranges(0, 9)),
    st.builds(Numbered, st.sampled_from(("phrase", "pass")), _ranges(1, 5)),
    st.builds(Parity, st.sampled_from(("bar", "phrase", "pass")), st.booleans()),
    st.builds(BarsOfSection, _sections, st.sampled_from((None, 1, 2, -1)), st.just(()) | _ranges(0, 4)),
)


def _flat(kind: type[Both | Either], parts: list[Choice]) -> Choice:
    """Join parts as the reader does: no joined part within one joined alike, nothing that is plainly empty."""
    flat: list[Choice] = []
    for part in parts:
        for one in part.parts if isinstance(part, kind) else (part,):
            exclusive = kind is Both and any(never_together(one, other) for other in flat)
            flat.append(Unless(one) if exclusive else one)
    return kind(tuple(flat))


def _larger(smaller: st.SearchStrategy[Choice]) -> st.SearchStrategy[Choice]:
    parts = st.lists(smaller, min_size=2, max_size=4)
    return (
        smaller.map(Unless)
        | parts.map(lambda chosen: _flat(Both, chosen))
        | parts.map(lambda chosen: _flat(Either, chosen))
    )


choices: st.SearchStrategy[Choice] = st.recursive(_atoms, _larger, max_leaves=8)


_BITS = (
    *"|:#-~[]{}\"'*&!%@?>,<`=\\/.0HbhaAr \n\t",
    *(
        "||",
        "|:",
        "  ",
        "\n\n",
        "---\n",
        "? ",
        "- ",
        ": ",
        "\r",
        "\u00a0",
        "\u2028",
        "\x85",
        "½",
        "♭",
        "é",
        "\ufeff",
    ),
    *(
        "\x00",
        "\ud800",
        "\u200b",
        "“",
        "𝄞",
        "N.C.",
        "words 2 ",
        "last ",
        "melody",
        "s1f3",
        "[321]",
        ".:3",
        "C5:1/3",
    ),
)


def slips(seed: int, text: str) -> str:
    """Return a text with one to three slips made in it, always the same for a seed."""
    chance = random.Random(seed)  # noqa: S311 - to choose, not to hide
    for _ in range(chance.choice((1, 1, 2, 3))):
        start = chance.randrange(len(text) + 1)
        end = min(len(text), start + chance.choice((0, 0, 1, 1, 2, 5, 20, 80)))
        lines = text.split("\n")
        one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
        swapped = list(lines)
        swapped[one], swapped[other] = lines[other], lines[one]
        text = chance.choice(
            (
                text[:start] + chance.choice(_BITS) + text[end:],
                text[:start] + text[end:],
                text[:start] + text[start:end] * 2 + text[end:],
                "\n".join(swapped),
                "\n".join([*lines[:one], lines[other], *lines[one:]]),
                "\n".join([*lines[:one], *lines[one + 1 :]]),
            )
        )
    return text
