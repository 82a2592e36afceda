"""Writing arrangement files: tidying one that a person wrote, and writing a `Song` that came from elsewhere."""

from __future__ import annotations

import re
from collections import abc
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import zip_longest
from typing import Any, Literal

from tercet.errors import ParameterError
from tercet.song.chord_shapes import WrittenShape
from tercet.song.frame import Mapping, Text, read_frame
from tercet.song.grammar import ChordWord, MarkWord, NoteWord, StrumWord, WordKind, read_word
from tercet.song.mistakes import SlipError
from tercet.song.model import ChordSpan, Mark, Meter, Note, Pin, Row, RowName, Section, Song, Source, Syllable
from tercet.song.plain_text import split_lines
from tercet.song.reader import open_book, parse_song
from tercet.song.rows import KIND_OF_ROW, Blank, BlockLine, Cell, Comment, WrittenRow, take_apart
from tercet.song.section import lines_of
from tercet.song.settings import SETTING_NAMES, SETTINGS
from tercet.song.spelling import LaidRow, lay_out, padded, shown_width, word_text
from tercet.theory import Key

__all__ = ["line_up", "moved_text", "pinned_text", "tidy_text", "write_song"]

_BLOCK_SIGN = re.compile(r"[|>][-+0-9]{0,2}")
_INDENT = 2
_ROW = re.compile(rf"(\s*)((?:{'|'.join(KIND_OF_ROW)})(?:\s+(?:\d+|last))*)(?=[\s|]|$)(.*)")


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
    top = read_frame(book, SETTING_NAMES)
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


def line_up(rows: abc.Sequence[str]) -> list[str]:
    """Return the rows of a line of music with their bar lines below one another, and nothing else of them changed.

    It looks at the signs ``|`` alone, so that it serves a text with mistakes too, which can't be tidied. What isn't a
    row stays as it is.
    """
    found = [_ROW.fullmatch(row) for row in rows]
    parts = [
        match and (match[1] + match[2], [cell.strip() for cell in match[3].split("|")]) for match in found
    ]
    label_width = max((shown_width(part[0]) for part in parts if part), default=0)
    columns = zip_longest(*(part[1] for part in parts if part), fillvalue="")
    widths = [max(map(shown_width, column)) for column in columns]
    lined_up = []
    for row, part in zip(rows, parts, strict=True):
        if part:
            label, cells = part
            bars = " | ".join(padded(cell, width) for cell, width in zip(cells, widths, strict=False))
            lined_up.append(f"{padded(label, label_width)}  {bars}".rstrip())
        else:
            lined_up.append(row)
    return lined_up


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
    words = [read_word(kind, word.text) for word in cell.words]
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
    return tidy_text(_joined(_with_words(lines, words), text), file)


def _with_words(lines: list[str], words: abc.Mapping[Source, str]) -> list[str]:
    """Return the lines of a text with other words at some places."""
    changed = list(lines)
    # From right to left, so that places further left stay what they were.
    for place in sorted(words, key=lambda place: (place.line, -place.column)):
        line, start = changed[place.line - 1], place.column - 1
        changed[place.line - 1] = line[:start] + words[place] + line[start + place.width :]
    return changed


def _joined(lines: list[str], text: str) -> str:
    return ("\r\n" if "\r\n" in text else "\n").join(lines)


def _written(lines: list[str], place: Source, kind: WordKind, change: dict[str, Any]) -> str:
    """Return the note or chord that stands at a place, changed."""
    return word_text(replace(_word_at(lines, place, kind), **change))


def _word_at(lines: list[str], place: Source, kind: WordKind) -> Any:
    """Return the note or chord that stands at a place."""
    if not (1 <= place.line <= len(lines) and 1 <= place.column <= len(lines[place.line - 1])):
        raise ParameterError(
            f"a place must lie within the text (got line {place.line}, column {place.column})"
        )
    start = place.column - 1
    text = lines[place.line - 1][start : start + place.width]
    try:
        return read_word(kind, text)
    except SlipError:
        raise ParameterError(
            f"no {kind} stands at line {place.line}, column {place.column} (got {text!r})"
        ) from None


# ---- another key


def moved_text(text: str, moved: Song, file: str = "song.yaml") -> str:
    """Return the text of an arrangement file in another key, tidied.

    Parameters
    ----------
    text
        What the file holds.
    moved
        Its song in that key, as `tercet.song.transpose_song` returns it.
    file
        What to call it in messages.

    Returns
    -------
    str
        The same file with notes, chords, fingerings and key of the moved song. The first note of a row states its
        octave, and each note at which it changes; where all bars, or all notes, stated it, they still do, and so does
        a note that stated it without need. Comments, words, settings and the order of everything stay.

    Raises
    ------
    SongError
        The text has mistakes.
    ParameterError
        It is the text of another song.
    """
    text = text.removeprefix("\ufeff")
    song = parse_song(text, file)
    lines = split_lines(text)
    words: dict[Source, str] = {}
    stated = _octaves_stated(lines, song)
    for row, new_row in zip(_rows_of(song), _rows_of(moved), strict=True):
        words |= _moved_words(lines, row, new_row, stated)
    lines = _with_words(lines, words)
    if moved.key != song.key:
        lines = _with_key(lines, read_frame(open_book(text, file), SETTING_NAMES), moved.key)
    return tidy_text(_joined(lines, text), file)


def _rows_of(song: Song) -> Iterator[Row]:
    return (row for section in song.sections for line in section.lines for row in line.rows)


_Stated = Literal["note", "bar", "row"]
"""Where a file states the octave, besides where it changes: at every note, or at the start of each bar or row."""


def _octaves_stated(lines: list[str], song: Song) -> _Stated:
    rows = [row for row in _rows_of(song) if row.name in ("melody", "between")]
    bars = [list(_sounding(lines, cell)) for row in rows for cell in (row.pickup, *row.bars)]
    if all(word.octave is not None for bar in bars for _, word in bar if word.letter):
        return "note"
    if all(bar[0][1].octave is not None for bar in bars if bar and bar[0][1].letter):
        return "bar"
    return "row"


def _sounding(lines: list[str], cell: tuple[Any, ...] | None) -> Iterator[tuple[int, NoteWord]]:
    """Yield the places in a cell, and the words, of the notes that sound; a note held on has no letter."""
    for place, item in enumerate(cell or ()):
        if isinstance(item, Note) and not item.is_rest:
            yield place, _word_at(lines, item.source, "note")


def _moved_words(lines: list[str], row: Row, new_row: Row, stated: _Stated) -> dict[Source, str]:
    """Return the words of a row that are written in another way when it is moved."""
    words: dict[Source, str] = {}
    old_octave = octave = None
    for cell, new_cell in zip((row.pickup, *row.bars), (new_row.pickup, *new_row.bars), strict=True):
        if cell is None or new_cell is None:
            continue
        for item, new in zip(cell, new_cell, strict=True):
            if isinstance(item, ChordSpan) and isinstance(new, ChordSpan) and item != new:
                change = {"chord": new.chord, "shape": new.shape, "fingers": new.fingers}
                words[item.source] = _written(lines, item.source, "chord", change)
        for count, (place, word) in enumerate(_sounding(lines, cell)):
            old, new = cell[place], new_cell[place]
            if not isinstance(old, Note) or not isinstance(new, Note) or not new.is_struck:
                continue
            here = NoteWord("", 0, None, new.position, word.length_beat, new.pin)
            if new.pitch is not None and new.position is None:
                again = stated == "note" or (stated == "bar" and count == 0)
                again |= word.octave is not None and word.octave == old_octave
                figure = None if new.pitch.octave == octave and not again else new.pitch.octave
                octave = new.pitch.octave
                here = replace(here, letter=new.pitch.letter, alter=new.pitch.alter, octave=figure)
            old_octave = old.pitch.octave if old.pitch else old_octave
            words[new.source] = word_text(here)
    return words


_TONIC = re.compile(r"[A-G][#b♯♭]?")


def _with_key(lines: list[str], top: Mapping, key: Key) -> list[str]:
    """Return the lines of a file that says another key in the way it said its own, or in a line of its own."""
    entries = {entry.key.text: entry for entry in top.entries}
    if "key" in entries:
        value, place = entries["key"].value, entries["key"].value.place
        written = value.text if isinstance(value, Text) else ""
        line, start = lines[place.line - 1], place.column - 1
        spelt = line[start : start + place.width].replace(written, _TONIC.sub(key.tonic, written, count=1))
        return [
            *lines[: place.line - 1],
            line[:start] + spelt + line[start + place.width :],
            *lines[place.line :],
        ]
    names = [setting.name for setting in SETTINGS]
    before = [name for name in names[: names.index("key")] if name in entries]
    at = entries[before[-1]].key.place.line
    end = at
    while end < len(lines) and (not lines[end].strip() or lines[end][0].isspace()):
        end += 1
        at = end if lines[end - 1].strip() else at
    return [*lines[:at], f"key: {key}", *lines[at:]]
