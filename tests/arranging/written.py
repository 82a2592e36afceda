"""Short songs for tests, from a shorthand that is read here and by nothing else.

``section("verse", melody="E4 || A4:2 C5[321] . | =:3", chords="|| Am | Dm:2 E7", between="...", strum="d . u | ")``:
bars between ``|``, a pick-up before ``||``, lengths after a colon (1 without), pins in square brackets, ``s1f3`` a
string and a fret, ``.`` a rest, ``=`` the note before going on; an octave holds until the next. ``melody_2`` is the
row for the second pass.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.song import ChordSpan, Line, Mark, Meter, Note, Pin, Row, Section, Song, Source, Visit
from tercet.theory import Pitch, Tuning, parse_chord

NOTE = re.compile(r"([.=]|[A-G][#b]?\d?|s\df\d+)(?::([\d/]+))?(?:\[(\w+)\])?")
CHORD = re.compile(r"(N\.C\.|[^:\[]+)(?:\[([\dx]+)(?:/([\dx]+))?\])?(?::([\d/]+))?")

# What tests say of a gesture: "4/0 3/0 2/0 1/3" are strings and frets in the order struck.


def struck(gesture: Gesture) -> str:
    """Return the strings and frets of a gesture in the order struck."""
    return " ".join(f"{note.string}/{note.fret}" for note in gesture.notes)


def shape(gesture: Gesture) -> str:
    """Return the shape of a gesture as chord shapes are written."""
    return "".join("x" if fret is None else str(fret) for fret in gesture.shape)


def of_layer(arrangement: Arrangement, *layers: str) -> list[Gesture]:
    """Return the gestures of some layers in order."""
    return [gesture for gesture in arrangement.gestures if gesture.layer in layers]


def tune_of(arrangement: Arrangement) -> list[str]:
    """Return how each note of the tune is struck."""
    return [struck(gesture) for gesture in arrangement.gestures if gesture.notes[-1].part == "tune"]


def strums_of(arrangement: Arrangement) -> list[str]:
    """Return beat, kind and strings of each strum: ``"1 d 4/0 3/0 2/0"``, ``"7/2 u 2/0 3/0"``."""
    return [
        f"{gesture.start_beat} {_kind(gesture)} {struck(gesture)}"
        for gesture in of_layer(arrangement, "strums")
    ]


def _kind(gesture: Gesture) -> str:
    letter = "x" if gesture.action == "chop" else "u" if gesture.up else "d"
    return letter.upper() if gesture.accent else letter


def beats_of(*items: Any) -> list[str]:
    """Return beats, and what else stands with them, as text: ``"7/2 1 60"``."""
    return [" ".join(map(str, item)) if isinstance(item, tuple) else str(item) for item in items]


def messages(arrangement: Arrangement) -> list[str]:
    """Return what is reported."""
    return [problem.message for problem in arrangement.problems]


def arranged(melody: str, chords: str, tuning: Tuning | None = None, **more: Any) -> Arrangement:
    """Arrange a song of one section, played once."""
    rows = {name: more.pop(name) for name in ("between", "strum_row", "marks") if name in more}
    return arrange(
        song(section("verse", melody, chords, **rows, meter=more.get("meter", "4/4")), **more), tuning
    )


def song(*sections: Section, form: str = "", meter: str = "4/4", **settings: Any) -> Song:
    """Return a song; the form is the sections as written if none is given."""
    names = form.split() or [section.name for section in sections]
    visits = tuple(
        Visit(name, names[: place + 1].count(name), name not in names[place + 1 :])
        for place, name in enumerate(names)
    )
    upper, lower = meter.split("/")
    made = Song("made up", sections, visits, meter=Meter(int(upper), int(lower)))
    return replace(made, **settings)


def section(name: str, melody: str, chords: str, *, meter: str = "4/4", **rows: str) -> Section:
    """Return a section of one line of music."""
    bar_beat = Fraction(meter.partition("/")[0])
    made = [
        _row("melody", melody, bar_beat, line=2),
        _row("chords", chords, bar_beat, line=1),
        *(_row(key, text, bar_beat, line=3 + place) for place, (key, text) in enumerate(rows.items())),
    ]
    pickup = made[0].pickup
    pickup_beat = sum((item.length_beat for item in pickup or () if isinstance(item, Note)), Fraction(0))
    return Section(name, (Line(tuple(made)),), pickup_beat)


def _row(key: str, text: str, bar_beat: Fraction, line: int) -> Row:
    name, _, number = key.removesuffix("_row").partition("_")
    pickup_text, two_bars, rest = text.rpartition("||")
    read: Any = {"melody": _notes, "between": _notes, "chords": _chords, "strum": _slots, "marks": _marks}[
        name
    ]
    if name in ("melody", "between"):
        pickup_text, rest = _with_octaves(pickup_text), _with_octaves(rest)
    cells = [tuple(read(cell, bar_beat, line)) or None for cell in rest.split("|")]
    pickup = tuple(read(pickup_text, bar_beat, line)) or None if two_bars else None
    return Row(name, (int(number),) if number else (), tuple(cells), pickup)  # type: ignore[arg-type]


def _with_octaves(text: str) -> str:
    """Write an octave to every note."""
    octave = "4"

    def with_octave(match: re.Match[str]) -> str:
        nonlocal octave
        octave = match[2] or octave
        return match[1] + octave

    return re.sub(r"(?<![\w\[])([A-G][#b]?)(\d?)", with_octave, text)


def _notes(text: str, bar_beat: Fraction, line: int) -> Iterator[Note]:
    del bar_beat
    at_beat = Fraction(0)
    for place, word in enumerate(text.split()):
        match = NOTE.fullmatch(word)
        assert match, word
        head, length, pin = match.groups()
        length_beat = Fraction(length or 1)
        source = Source(line, place + 1)
        note = Note(at_beat, length_beat, None, head == "=", None, _pin(pin), source)
        if head[0] == "s":
            string, fret = head[1:].split("f")
            note = replace(note, position=(int(string), int(fret)))
        elif head not in (".", "="):
            note = replace(note, pitch=Pitch.parse(head))
        yield note
        at_beat += length_beat


def _pin(text: str | None) -> Pin | None:
    if text is None:
        return None
    if text == "roll":
        return Pin("roll")
    if text == "alone":
        return Pin("alone")
    strings = tuple(int(digit) for digit in text)
    return Pin("roll" if len(strings) > 1 else "alone", strings)


def _chords(text: str, bar_beat: Fraction, line: int) -> Iterator[ChordSpan]:
    words = text.split()
    at_beat = Fraction(0)
    for place, word in enumerate(words):
        match = CHORD.fullmatch(word)
        assert match, word
        name, frets, set_on, length = match.groups()
        length_beat = Fraction(length) if length else bar_beat / len(words)
        chord = None if name == "N.C." else parse_chord(name)
        pinned = tuple(None if digit == "x" else int(digit) for digit in frets) if frets else None
        fingers = tuple(0 if digit == "x" else int(digit) for digit in set_on) if set_on else None
        yield ChordSpan(at_beat, length_beat, chord, pinned, fingers, Source(line, place + 1))
        at_beat += length_beat


def _slots(text: str, bar_beat: Fraction, line: int) -> Iterator[str]:
    del bar_beat, line
    yield from text.split()


def _marks(text: str, bar_beat: Fraction, line: int) -> Iterator[Mark]:
    """Read ``accent@2`` and ``,@3``, with ``strums:accent@2`` for one layer."""
    del bar_beat
    for word in text.split():
        kind, at = word.split("@")
        layer, _, kind = kind.rpartition(":")
        yield Mark(
            Fraction(at) - 1,
            "breath" if kind == "," else "accent",
            layer=layer or None,  # type: ignore[arg-type]
            source=Source(line, 1),
        )
