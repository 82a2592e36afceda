"""Writing arrangement files: tidying one that a person wrote, and writing a `Song` that came from elsewhere."""

from __future__ import annotations

import re
from collections import abc
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

from tercet.errors import ParameterError
from tercet.song.chord_shapes import WrittenShape
from tercet.song.frame import Mapping, Text, read_frame
from tercet.song.grammar import ChordWord, MarkWord, NoteWord, StrumWord, WordKind, read_word
from tercet.song.mistakes import SlipError
from tercet.song.model import ChordSpan, Mark, Meter, Note, Pin, Row, RowName, Section, Song, Source, Syllable
from tercet.song.plain_text import split_lines
from tercet.song.reader import open_book, parse_song
from tercet.song.rows import KIND_OF_ROW, Blank, BlockLine, Cell, Comment, WrittenRow, same_hyphen, take_apart
from tercet.song.section import lines_of
from tercet.song.settings import SETTINGS
from tercet.song.spelling import LaidRow, lay_out, word_text

__all__ = ["pinned_text", "tidy_text", "write_song"]

_BLOCK_SIGN = re.compile(r"[|>][-+0-9]{0,2}")
_INDENT = 2


def tidy_text(text: str, file: str = "song.yaml") -> str:
    """Return the text of an arrangement file with its bars aligned and its music spelt in one way.

    Comments, settings and the order of everything stay. Tidying twice changes nothing more, and the tidy text is
    the same song.

    Raises
    ------
    SongError
        When the text has mistakes.
    """
    song = parse_song(text, file)
    book = open_book(text, file)
    top = read_frame(book)
    lines = list(book.lines)
    for name, block, key_column in reversed(list(_blocks(top))):
        body = block.body
        header = lines[block.place.line - 1]
        start = block.place.column - 1
        lines[block.place.line - 1] = header[:start] + _BLOCK_SIGN.sub("|", header[start:], count=1)
        parts = take_apart(body, book)
        tidy = _tidy_block(parts, song.section(name), " " * (key_column - 1 + _INDENT))
        lines[body[0].number - 1 : body[-1].number] = tidy
    tidied = "\n".join(lines).rstrip() + "\n"
    return tidied.replace("\n", "\r\n") if "\r\n" in text else tidied


def _blocks(top: Mapping) -> Iterator[tuple[str, Text, int]]:
    """Go through the sections' blocks: name, block, column of the name."""
    sections = next(entry.value for entry in top.entries if entry.key.text == "sections")
    if isinstance(sections, Mapping):
        for entry in sections.entries:
            if isinstance(entry.value, Text):
                yield entry.key.text, entry.value, entry.key.place.column


def _tidy_block(parts: list[BlockLine], section: Section, indent: str) -> list[str]:
    """Return the lines of a block; rows, comments and blank lines keep their order."""
    groups = [[row for row in group if row is not None] for group in lines_of(parts)]
    texts = [
        [_tidy_row(written, row) for written, row in zip(rows, line.rows, strict=True)]
        for rows, line in zip(groups, section.lines, strict=True)
    ]
    laid = iter([line for lines in lay_out(texts, section.pickup_beat > 0) for line in lines])
    lines: list[str] = []
    for part in parts:
        if isinstance(part, WrittenRow):
            lines.append(indent + next(laid))
        elif isinstance(part, Comment):
            lines.append(indent + part.text)
        elif isinstance(part, Blank) and lines and lines[-1]:
            lines.append("")
    return lines


def _tidy_row(written: WrittenRow, row: Row) -> LaidRow:
    """Return the texts of a row's cells, each at the pick-up or bar that it was read as."""
    texts = iter([_cell_text(written.name, cell) for cell in written.cells if cell.words])
    pickup = "" if row.pickup is None else next(texts)
    return LaidRow(written.label, pickup, tuple("" if bar is None else next(texts) for bar in row.bars))


def _cell_text(name: RowName, cell: Cell) -> str:
    kind = KIND_OF_ROW[name]
    words = [read_word(kind, same_hyphen(word.text)) for word in cell.words]
    return " ".join(word_text(_without_length_1(word)) for word in words)


def _without_length_1(word: Any) -> Any:
    """Return a note that says it is 1 long without saying so; a bare note is."""
    if isinstance(word, NoteWord) and word.length_beat == 1:
        return replace(word, length_beat=None)
    return word


# ---- from a Song


def write_song(song: Song) -> str:
    """Return the text of an arrangement file that reads as this song.

    Parameters
    ----------
    song
        As `tercet.song.parse_song` makes it: rows over the same bars, bars that add up, chords from the start of
        each section.
    """
    lines = []
    for setting in SETTINGS:
        value = setting.write(song)
        if value:
            lines.append(f"{setting.name}:{value}" if value.startswith("\n") else f"{setting.name}: {value}")
    lines.append("sections:")
    for index, section in enumerate(song.sections):
        if index:
            lines.append("")
        lines.append(f"{' ' * _INDENT}{section.name}: |")
        lines += [(" " * 2 * _INDENT + line).rstrip() for line in _section_lines(section, song.meter)]
    return "\n".join(lines) + "\n"


def _section_lines(section: Section, meter: Meter) -> list[str]:
    texts = [[_laid_row(row, section.pickup_beat, meter) for row in line.rows] for line in section.lines]
    lines: list[str] = []
    for index, laid in enumerate(lay_out(texts, section.pickup_beat > 0)):
        if index:
            lines.append("")
        lines += laid
    return lines


def _label(row: Row) -> str:
    return " ".join([row.name, *("last" if number < 0 else str(number) for number in row.passes)])


def _laid_row(row: Row, pickup_beat: Fraction, meter: Meter) -> LaidRow:
    speller = _RowSpeller(row.name, meter)
    pickup = speller.cell_text(row.pickup, pickup_beat, is_pickup=True)
    bars = tuple(speller.cell_text(bar, meter.bar_beat, is_pickup=False) for bar in row.bars)
    return LaidRow(_label(row), pickup, bars)


class _RowSpeller:
    """Spells the cells of one row of one line of music; its first note states its octave."""

    def __init__(self, name: RowName, meter: Meter) -> None:
        self._name = name
        self._meter = meter
        self._octave: int | None = None

    def cell_text(self, items: tuple[Any, ...] | None, length: Fraction, is_pickup: bool) -> str:
        """Return the text of a bar or pick-up of that length in beats; empty for None."""
        if not items:
            return ""
        if self._name in ("melody", "between"):
            return " ".join(self._note(note) for note in items)
        if self._name == "chords":
            return self._chords(items, length, is_pickup)
        if self._name == "marks":
            return " ".join(map(_mark, items))
        if self._name == "words":
            return _syllables(items)
        return word_text(StrumWord(items))

    def _note(self, note: Note) -> str:
        length = None if note.length_beat == 1 else note.length_beat
        if note.pitch is None:
            return word_text(NoteWord("", 0, None, note.position, length, note.pin, note.goes_on))
        pitch = note.pitch
        octave = None if pitch.octave == self._octave else pitch.octave
        self._octave = pitch.octave
        return word_text(NoteWord(pitch.letter, pitch.alter, octave, None, length, note.pin))

    def _chords(self, spans: tuple[ChordSpan, ...], length: Fraction, is_pickup: bool) -> str:
        share = length / len(spans)
        on_pulse = len(spans) == 1 or share % self._meter.pulse_beat == 0
        equal = on_pulse and not is_pickup and all(span.length_beat == share for span in spans)
        return " ".join(
            word_text(ChordWord(span.chord, None if equal else span.length_beat, span.shape, span.fingers))
            for span in spans
        )


def _mark(mark: Mark) -> str:
    place = None if mark.kind == "a-tempo" and mark.at_beat == 0 else mark.at_beat + 1
    return word_text(MarkWord(mark.kind, mark.value, mark.layer, place))


def _syllables(syllables: tuple[Syllable, ...]) -> str:
    text = ""
    for syllable in syllables:
        if syllable.holds:
            text += " _ "
        else:
            text += syllable.text + ("-" if syllable.joined else " ")
    return " ".join(text.split())


# ---- a fingering


def pinned_text(
    text: str,
    pins: abc.Mapping[Source, Pin],
    shapes: abc.Mapping[Source, WrittenShape],
    file: str = "song.yaml",
) -> str:
    """Return the text of an arrangement file with pins and chord shapes written in, tidied.

    Parameters
    ----------
    text
        What the file holds.
    pins
        By the place of a note in the text, as `tercet.song.Note.source` tells it. A pin that is there is replaced.
    shapes
        By the place of a chord: its frets, with fingers or without.
    file
        What to call it in messages.

    Returns
    -------
    str
        The same song with these pins. Comments, settings and the order of everything stay.

    Raises
    ------
    SongError
        The text has mistakes, or would have some with these pins.
    ParameterError
        No note or chord stands at a place.
    """
    lines = split_lines(text)
    words = {place: _written(lines, place, "note", {"pin": pin}) for place, pin in pins.items()}
    for place, shape in shapes.items():
        words[place] = _written(lines, place, "chord", {"shape": shape.frets, "fingers": shape.fingers})
    # From right to left, so that places further left stay what they were.
    for place in sorted(words, key=lambda place: (place.line, -place.column)):
        line, start = lines[place.line - 1], place.column - 1
        lines[place.line - 1] = line[:start] + words[place] + line[start + place.width :]
    return tidy_text(("\r\n" if "\r\n" in text else "\n").join(lines), file)


def _written(lines: list[str], place: Source, kind: WordKind, change: dict[str, Any]) -> str:
    """Return the note or chord that stands at a place, changed."""
    if not (1 <= place.line <= len(lines) and 1 <= place.column <= len(lines[place.line - 1])):
        raise ParameterError(
            f"a place must lie within the text (got line {place.line}, column {place.column})"
        )
    start = place.column - 1
    text = same_hyphen(lines[place.line - 1][start : start + place.width])
    try:
        word = read_word(kind, text)
    except SlipError:
        raise ParameterError(
            f"no {kind} stands at line {place.line}, column {place.column} (got {text!r})"
        ) from None
    return word_text(replace(word, **change))
