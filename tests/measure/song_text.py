"""A small reader of song files, written apart from Tercet's own, to witness against it.

It knows what the measurements need: title, key, meter, tempo, swing, form, and of each section's rows the notes of the
melody, the words, the chords, and which passes a row is for. Notes written as string and fret, and sections without a
melody, it refuses. A *beat* is the meter's lower figure.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from ruamel.yaml import YAML

__all__ = ["SongText", "TuneNote", "read_song_text"]

USUAL_DYNAMICS = {"melody": "f", "between": "mp", "strums": "p"}
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
NOTE = re.compile(r"([A-G])([#b]?)(\d?)(?::([\d./]+))?(?:\[\w+\])?")
WITHOUT_PITCH = re.compile(r"([.=])(?::([\d./]+))?")


@dataclass(frozen=True, slots=True)
class TuneNote:
    """A note of the tune that is struck.

    `beat` counts from the first beat of the piece, its pick-up included; `length_beat` is how long it goes on.
    `syllable` is what is sung to it, empty where nothing is.
    """

    beat: Fraction
    length_beat: Fraction
    midi: int
    syllable: str = ""


@dataclass(frozen=True, slots=True)
class SongText:
    """What a song file says.

    Parameters
    ----------
    title, composer, licence, key
        As written.
    meter
        Upper and lower figure.
    tempo
        Pulses a minute; a pulse is `pulse_beat` beats.
    swing
        Where the second half of a pulse falls; 1/2 is even.
    tune
        The struck notes of the melody through the form, swing not counted.
    added
        The struck notes of a row `between`, through the form.
    chords
        Beat of the piece and name of each chord through the form as it is written, without its shape.
    visits
        For each section as played its name, its pass from 1, and the beat of its first bar. The pick-up of the whole
        piece is a bar; other pick-ups are part of the bar before.
    pickup_beat, end_beat
        Length of the very first pick-up, and of the piece.
    has_between
        Whether a row `between` adds notes to those of the tune.
    dynamics
        The mark of each layer, as the heading has them.
    marks
        Beat of the piece and text of each mark through the form, in order: ``(12, "strums:mp")``.
    """

    title: str
    composer: str
    licence: str
    key: str
    meter: tuple[int, int]
    tempo: Fraction
    pulse_beat: Fraction
    swing: Fraction
    tune: tuple[TuneNote, ...]
    added: tuple[TuneNote, ...]
    chords: tuple[tuple[Fraction, str], ...]
    visits: tuple[tuple[str, int, Fraction], ...]
    pickup_beat: Fraction
    end_beat: Fraction
    has_between: bool
    dynamics: dict[str, str]
    marks: tuple[tuple[Fraction, str], ...]

    @property
    def bar_beat(self) -> int:
        """Length of a whole bar, in beats."""
        return self.meter[0]

    @property
    def count_in_beat(self) -> Fraction:
        """Length of one bar of count-in, which the first pick-up shortens, in beats."""
        return self.bar_beat - self.pickup_beat

    @property
    def beat_s(self) -> float:
        """Seconds of a beat where nothing slows down."""
        return float(60 / (self.tempo * self.pulse_beat))

    def swung(self, beat: Fraction) -> Fraction:
        """Return where a written beat of the piece is played: the halves of a pulse stretched and squeezed."""
        whole, part = divmod((beat - self.pickup_beat) / self.pulse_beat, 1)
        if part.denominator % 3:
            half = Fraction(1, 2)
            part = part * 2 * self.swing if part <= half else 1 - (1 - part) * 2 * (1 - self.swing)
        return (whole + part) * self.pulse_beat + self.pickup_beat


def read_song_text(path: Path) -> SongText:
    """Read a song file; raise `ValueError` where it holds what this reader doesn't know."""
    written = YAML(typ="safe", pure=True).load(path.read_text("utf-8"))
    upper, lower = map(int, written["meter"].split("/"))
    pulse = 3 if lower >= 8 and upper % 3 == 0 and upper > 3 else 1
    sections = {name: list(_rows(text)) for name, text in written["sections"].items()}
    order = _form(written.get("form", " ".join(sections)))
    at = pickup = Fraction(0)
    tune: list[TuneNote] = []
    added: list[TuneNote] = []
    visits: list[tuple[str, int, Fraction]] = []
    marks: list[tuple[Fraction, str]] = []
    chords: list[tuple[Fraction, str]] = []
    for place, name in enumerate(order):
        number, count = order[: place + 1].count(name), order.count(name)
        before, bars = _melody(sections[name], number, count, Fraction(upper))
        if place == 0:
            at = pickup = sum((note.length_beat for note in before), Fraction(0))
        visits.append((name, number, at if place else Fraction(0)))
        played = [replace(note, beat=note.beat + at) for note in (*before, *bars)]
        syllables = _syllables(sections[name], number, count)
        last = tune[-1:]
        struck = _struck(played, last)
        tune[len(tune) - len(last) :] = [*struck[: len(last)], *_sung(struck[len(last) :], syllables)]
        marks += [(at + beat, text) for beat, text in _marks(sections[name], number, count, upper)]
        more = _bars_of(_chosen(sections[name], "between", number, count)[1], upper, "")
        added += _struck([replace(note, beat=note.beat + at) for note in more], [])
        chords += [(at + beat, name) for beat, name in _chords(sections[name], number, count, upper)]
        at += upper * _bar_count(sections[name])
    return SongText(
        title=written["title"],
        composer=written.get("composer", ""),
        licence=written.get("licence", ""),
        key=written["key"],
        meter=(upper, lower),
        tempo=Fraction(written["tempo"]),
        pulse_beat=Fraction(pulse),
        swing=Fraction(str(written.get("swing", "1/2"))),
        tune=tuple(tune),
        added=tuple(added),
        chords=tuple(chords),
        visits=tuple(visits),
        pickup_beat=pickup,
        end_beat=at,
        has_between=any(row.name == "between" for rows in sections.values() for row in rows),
        dynamics=USUAL_DYNAMICS | dict(written.get("dynamics", {})),
        marks=tuple(sorted(marks, key=lambda mark: mark[0])),
    )


@dataclass(frozen=True, slots=True)
class _Row:
    """One row: its name, the passes it is for (empty: all), its line of music, its pick-up and its bars."""

    name: str
    passes: tuple[str, ...]
    line: int
    pickup: str
    bars: tuple[str, ...]

    def is_for(self, number: int, count: int) -> bool:
        return not self.passes or str(number) in self.passes or ("last" in self.passes and number == count)


@dataclass(frozen=True, slots=True)
class _Written:
    """What is written: no `midi` for rests and notes that go on, `beat` from the section's first whole bar."""

    beat: Fraction
    length_beat: Fraction
    midi: int | None
    goes_on: bool


def _form(text: str | list[str]) -> list[str]:
    order: list[str] = []
    for word in text.split() if isinstance(text, str) else text:
        name, _, times = word.partition("*")
        order += [name] * int(times or 1)
    return order


def _rows(text: str) -> Iterator[_Row]:
    """Yield the rows of a section; the first line of music of a section may begin with a pick-up."""
    for line, block in enumerate(re.split(r"\n\s*\n", text.strip("\n"))):
        rows = [row for row in block.splitlines() if row.strip() and not row.lstrip().startswith("#")]
        split = []
        for row in rows:
            name, *passes = re.match(r"\s*(\w+(?:\s+(?:\d+|last))*)(?:\s|$)", row)[1].split()  # type: ignore[index]
            rest = row.strip()[len(name) :]
            for number in passes:
                rest = rest.lstrip()[len(number) :]
            split.append((name, tuple(passes), [bar.strip() for bar in rest.rstrip().rstrip("|").split("|")]))
        longest = max(len(bars) for _, _, bars in split)
        chords = next((bars for name, passes, bars in split if name == "chords" and not passes), [])
        has_pickup = line == 0 and bool(chords) and not chords[0]
        for name, passes, bars in split:
            whole = bars + [""] * (longest - len(bars))
            pickup = whole.pop(0) if has_pickup else ""
            yield _Row(name, passes, line, pickup, tuple(whole))


def _chosen(rows: list[_Row], name: str, number: int, count: int) -> tuple[str, list[str]]:
    """Return the pick-up and the bars of a row in one pass: bars of rows for the pass, else of the plain row."""
    pickup, lines = "", dict[int, list[str]]()
    for row in sorted((row for row in rows if row.name == name), key=lambda row: bool(row.passes)):
        if row.is_for(number, count):
            pickup = row.pickup or pickup
            plain = lines.get(row.line, [""] * len(row.bars))
            lines[row.line] = [own or before for own, before in zip(row.bars, plain, strict=True)]
    widths = {row.line: len(row.bars) for row in rows}
    return pickup, [bar for line in sorted(widths) for bar in lines.get(line, [""] * widths[line])]


def _bar_count(rows: list[_Row]) -> int:
    return sum({row.line: len(row.bars) for row in rows}.values())


def _melody(
    rows: list[_Row], number: int, count: int, bar_beat: Fraction
) -> tuple[list[_Written], list[_Written]]:
    """Return the notes of a section's pick-up (at beats below 0) and of its bars, in one pass."""
    pickup_text, bars = _chosen(rows, "melody", number, count)
    if not any(bars):
        raise ValueError("this reader knows no section without a melody")
    octave = ""
    before, octave = _notes(pickup_text, Fraction(0), octave)
    length = sum((note.length_beat for note in before), Fraction(0))
    notes = _bars_of(bars, bar_beat, octave)
    return [replace(note, beat=note.beat - length) for note in before], notes


def _bars_of(bars: list[str], bar_beat: Fraction | int, octave: str) -> list[_Written]:
    notes: list[_Written] = []
    for place, text in enumerate(bars):
        more, octave = _notes(text, Fraction(place * bar_beat), octave)
        notes += more
    return notes


def _marks(rows: list[_Row], number: int, count: int, bar_beat: int) -> Iterator[tuple[Fraction, str]]:
    """Yield the marks of a section in one pass, at beats from its first whole bar."""
    pickup, bars = _chosen(rows, "marks", number, count)
    if pickup:
        raise ValueError("this reader knows no marks in a pick-up")
    for place, text in enumerate(bars):
        for word in text.split():
            name, _, at = word.partition("@")
            yield place * bar_beat + Fraction(at or 1) - 1, name


def _chords(rows: list[_Row], number: int, count: int, bar_beat: int) -> Iterator[tuple[Fraction, str]]:
    """Yield the chords of a section in one pass, at beats from its first whole bar; a pick-up has none."""
    _, bars = _chosen(rows, "chords", number, count)
    for place, text in enumerate(bars):
        words = text.split()
        at = Fraction(place * bar_beat)
        for word in words:
            name, _, length = word.partition(":")
            yield at, name.partition("[")[0]
            at += Fraction(length) if length else Fraction(bar_beat, len(words))


def _notes(text: str, at: Fraction, octave: str) -> tuple[list[_Written], str]:
    notes = []
    for word in text.split():
        if sign := WITHOUT_PITCH.fullmatch(word):
            notes.append(_Written(at, Fraction(sign[2] or 1), None, goes_on=sign[1] == "="))
        elif note := NOTE.fullmatch(word):
            octave = note[3] or octave
            midi = 12 * (int(octave) + 1) + SEMITONES[note[1]] + {"#": 1, "b": -1, "": 0}[note[2]]
            notes.append(_Written(at, Fraction(note[4] or 1), midi, goes_on=False))
        else:
            raise ValueError(f"this reader doesn't know the note {word!r}")
        at += notes[-1].length_beat
    return notes, octave


def _struck(written: list[_Written], before: list[TuneNote]) -> list[TuneNote]:
    """Return the note before, if there is one, and those that are struck, each as long as it goes on."""
    notes = list(before)
    for note in written:
        if note.goes_on:
            notes[-1] = replace(notes[-1], length_beat=notes[-1].length_beat + note.length_beat)
        elif note.midi is not None:
            notes.append(TuneNote(note.beat, note.length_beat, note.midi))
    return notes


def _syllables(rows: list[_Row], number: int, count: int) -> list[str]:
    pickup, bars = _chosen(rows, "words", number, count)
    return [part for word in " ".join([pickup, *bars]).split() for part in re.findall(r"[^-]+-?", word)]


def _sung(notes: list[TuneNote], syllables: list[str]) -> list[TuneNote]:
    """Return the notes with their syllables, one for each note; `_` sings nothing new."""
    if syllables and len(syllables) != len(notes):
        raise ValueError(f"{len(syllables)} syllables for {len(notes)} notes")
    texts = [syllable.rstrip("-").replace("_", "") for syllable in syllables] or [""] * len(notes)
    return [replace(note, syllable=text) for note, text in zip(notes, texts, strict=True)]
