"""What the cells of a row hold: notes that fill their bar, chords that share it, marks at their places."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tercet.errors import Edit, ParameterError
from tercet.song.bar_slips import explain_bar
from tercet.song.grammar import ChordWord, MarkWord, NoteWord, StrumWord, WordOfSyllables, read_word
from tercet.song.mistakes import MistakeBook, SlipError, show_beats
from tercet.song.model import ChordSpan, Mark, Meter, Note, RowName, Slot, Source, Syllable
from tercet.song.rows import KIND_OF_ROW, Cell, Word, WrittenRow, spanning
from tercet.song.slips import Around, read_as_meant
from tercet.song.ties import tie_slip
from tercet.theory import Pitch

__all__ = [
    "BROKEN",
    "MOST_IN_A_BAR",
    "CellReader",
    "Items",
    "Room",
    "bar_lines_missing",
    "guessed_length",
    "guessed_lengths",
    "slots_fit",
]

BROKEN: tuple[Any, ...] = ()
"""Stands in `Row.bars` for a bar that couldn't be read, while the rest of the song is still checked."""

MOST_IN_A_BAR = 64
"""Notes, chords, marks or words; a bar of 16/8 in thirty-seconds has so many."""

_FINEST_REST = 48
"""A rest of a smaller part of a beat isn't proposed: something else is wrong."""

_REST = "."

_WHAT: dict[RowName, str] = {
    "chords": "chords",
    "melody": "notes",
    "between": "notes",
    "strum": "slots",
    "words": "words",
    "marks": "marks",
}

_FIGURE = re.compile(r":(\d{1,6}(?:\.\d{1,6}|/[1-9]\d{0,5})?)(?![\d./])")

Items = tuple[Note | ChordSpan | Mark | Syllable | Slot, ...]

_ROUNDED = ("0.3", "0.33", "0.333", "0.3333", "0.6", "0.66", "0.67", "0.666", "0.667", "0.6666", "0.6667")


@dataclass(frozen=True, slots=True)
class Room:
    """How much time a cell fills: a bar, or the section's pick-up.

    Parameters
    ----------
    length_beat
        The time.
    is_pickup
        Whether it is the section's pick-up.
    bars_lacking
        How many bars the cell's row lacks beside the other rows of its line.
    left_to_pickup_beat
        In the last bar of a section with a pick-up: the pick-up's length, which many leave out of that bar.
    """

    length_beat: Fraction
    is_pickup: bool = False
    bars_lacking: int = 0
    left_to_pickup_beat: Fraction = Fraction(0)


class CellReader:
    """Reads the cells of one section, in the order written: octaves carry on from cell to cell.

    Parameters
    ----------
    meter
        The song's meter; None when that couldn't be read, and then only the words are checked.
    book
        Where mistakes are noted.
    names
        How the file names its notes.
    """

    def __init__(self, meter: Meter | None, book: MistakeBook, names: Around) -> None:
        self._names = names
        self._before: dict[tuple[RowName, tuple[int, ...]], tuple[str, ...]] = {}
        self._meter = meter
        self._book = book
        self._octaves: dict[tuple[RowName, tuple[int, ...]], int] = {}

    def items(self, row: WrittenRow, cell: Cell, room: Room) -> Items | None:
        """Return what a cell holds; None when it is empty, `BROKEN` when it can't be read."""
        if self._book.full:
            return BROKEN
        if not cell.words:
            return self._empty(row, cell, room)
        words = self._read_words(row, cell, room)
        placed = row.name != "marks" or self._meter is None or self._check_places(cell, words, room)
        if not placed or self._meter is None or any(word is None for word in words):
            return BROKEN
        try:
            return self._made(row, cell, words, room)
        except SlipError as wrong:
            self._book.add_slip(wrong, cell.place, row.name)
            return BROKEN

    def _empty(self, row: WrittenRow, cell: Cell, room: Room) -> Items | None:
        if row.name != "melody" or row.passes:
            return None
        self._book.add(
            "this bar is empty",
            cell.place,
            row.name,
            f"write .:{room.length_beat or 4} for a bar of rest, or take away one |",
        )
        return BROKEN

    def _made(self, row: WrittenRow, cell: Cell, words: list[Any], room: Room) -> Items:
        if row.name in ("melody", "between"):
            return self._notes(row, cell, words, room)
        if row.name == "chords":
            return self._chords(cell, words, room)
        if row.name == "marks":
            return self._marks(cell, words)
        if row.name == "words":
            return _syllables(cell, words)
        return self._slots(words, room)

    def _read_words(self, row: WrittenRow, cell: Cell, room: Room) -> list[Any]:
        """Read a cell's words; None stands for each that can't be read."""
        if len(cell.words) > MOST_IN_A_BAR:
            self._book.add(
                f"a bar must hold at most {MOST_IN_A_BAR} {_WHAT[row.name]} (got {len(cell.words)})",
                cell.place,
                row.name,
                "look for a | that is missing",
            )
            return [None]
        kind = KIND_OF_ROW[row.name]
        texts = tuple(word.text for word in cell.words)
        words = [read_as_meant(kind, text, self._names, texts) for text in texts]
        key = (row.name, row.passes)
        before, self._before[key] = self._before.get(key, ()), texts
        if not any(isinstance(word, SlipError) for word in words):
            return words
        if self._meter is not None:
            as_a_whole = explain_bar(kind, texts, before, room.length_beat, self._meter.pulse_beat)
            if as_a_whole is not None:
                self._book.add_slip(as_a_whole, cell.place, row.name)
                return [None]
        for written, word in zip(cell.words, words, strict=True):
            if isinstance(word, SlipError):
                slip = (tie_slip(row, written) if kind == "note" else None) or word
                if slip.write == "":
                    slip = SlipError(slip.message, slip.mend, edits=(without(written, cell),))
                self._book.add_slip(slip, written.place, row.name)
            if self._book.full:
                return [None]
        return [None if isinstance(word, SlipError) else word for word in words]

    def _notes(self, row: WrittenRow, cell: Cell, words: list[NoteWord], room: Room) -> tuple[Note, ...]:
        notes: list[Note] = []
        at = Fraction(0)
        for word, written in zip(words, cell.words, strict=True):
            length_beat = Fraction(1) if word.length_beat is None else word.length_beat
            pitch = self._pitch(row, word, written)
            notes.append(Note(at, length_beat, pitch, word.goes_on, word.position, word.pin, written.place))
            at += length_beat
        self._check_total([note.length_beat for note in notes], room, row.name, cell)
        return tuple(notes)

    def _pitch(self, row: WrittenRow, word: NoteWord, written: Word) -> Pitch | None:
        if not word.letter:
            return None
        key = (row.name, row.passes)
        octave = word.octave if word.octave is not None else self._octaves.get(key)
        if octave is None:
            self._book.add(
                "the row's first note in a section needs its octave",
                written.place,
                row.name,
                f"write for instance {written.text[0]}4; C4 is middle C, A4 the A above it",
            )
            octave = 4
        self._octaves[key] = octave
        try:
            return Pitch(word.letter, word.alter, octave)
        except ParameterError:
            raise SlipError(
                "this pitch is beyond all instruments", "write an octave from 2 to 7", written.place
            ) from None

    def _check_total(self, lengths: list[Fraction], room: Room, row: RowName, cell: Cell) -> None:
        """Raise `SlipError` unless the lengths of a cell add up."""
        length = room.length_beat
        total = sum(lengths, Fraction(0))
        if total == length:
            return
        this = "this pick-up" if room.is_pickup else "this bar"
        whole = f"in other rows it has {length}" if room.is_pickup else f"{self._meter} has {length}"
        differs, has = show_beats(abs(total - length)), f"{show_beats(total)}, and {whole}"
        if total > length:
            mend, beyond, lines = _cut_down(lengths, room, row, cell)
            raise SlipError(f"{this} is {differs} too long: {has}", mend, beyond, edits=lines)
        if length - total == room.left_to_pickup_beat:
            has += "; the last bar is whole even after a pick-up"
        mend, place, edits = _filled(lengths, room, row, cell)
        raise SlipError(f"{this} is {differs} too short: {has}", mend, place, edits=edits)

    def _chords(self, cell: Cell, words: list[ChordWord], room: Room) -> tuple[ChordSpan, ...]:
        if all(word.length_beat is None for word in words):
            lengths = [self._share(room.length_beat, cell)] * len(words)
        else:
            lengths = [Fraction(1) if word.length_beat is None else word.length_beat for word in words]
            self._check_lengths(lengths, cell, words, room)
        spans: list[ChordSpan] = []
        at = Fraction(0)
        for word, written, length_beat in zip(words, cell.words, lengths, strict=True):
            spans.append(ChordSpan(at, length_beat, word.chord, word.shape, word.fingers, written.place))
            at += length_beat
        return tuple(spans)

    def _check_lengths(self, lengths: list[Fraction], cell: Cell, words: list[ChordWord], room: Room) -> None:
        """Raise `SlipError` unless chords with lengths add up, those without counting 1."""
        total = sum(lengths, Fraction(0))
        bare = [written for word, written in zip(words, cell.words, strict=True) if word.length_beat is None]
        if total != room.length_beat and bare:
            raise SlipError(
                "some chords of this bar have a length and some have none; "
                f"counting those as 1 it has {show_beats(total)} instead of {room.length_beat}",
                "write the length of each chord",
                bare[0].place,
            )
        self._check_total(lengths, room, "chords", cell)

    def _share(self, length: Fraction, cell: Cell) -> Fraction:
        """Return each chord's length when chords without lengths share a bar."""
        count = len(cell.words)
        share = length / count
        pulse = self._meter.pulse_beat if self._meter else Fraction(1)
        if count == 1 or share % pulse == 0:
            return share
        first = -(-length // (pulse * count)) * pulse
        rest = (length - first) / (count - 1)
        example = " ".join(
            f"{word.text}:{first if index == 0 else rest}" for index, word in enumerate(cell.words)
        )
        raise SlipError(
            f"{count} chords can't share {show_beats(length)} equally on the pulse",
            f"write the length of each, such as {example}" if rest > 0 else "write the length of each",
        )

    def _marks(self, cell: Cell, words: list[MarkWord]) -> tuple[Mark, ...]:
        return tuple(
            Mark(_place_of(word) - 1, word.kind, word.value, word.layer, written.place)
            for word, written in zip(words, cell.words, strict=True)
        )

    def _check_places(self, cell: Cell, words: list[MarkWord | None], room: Room) -> bool:
        """Note marks beyond the bar, and two of a kind at one place; return whether there is none."""
        count = len(self._book)
        seen: dict[tuple[Fraction, str, str | None], MarkWord] = {}
        end = 1 + room.length_beat
        for word, written in zip(words, cell.words, strict=False):
            if word is None:
                continue
            place = _place_of(word)
            if not 1 <= place < end:
                self._book.add(
                    f"this bar has no beat {place}: its places are 1 to less than {end}",
                    written.place,
                    "marks",
                    "beat 1 is the start of the bar; 2.5 is halfway between beats 2 and 3",
                )
            elif (place, word.kind, word.layer) in seen:
                alike = word.value == seen[place, word.kind, word.layer].value
                self._book.add(
                    f"two marks of the same kind stand at beat {place}",
                    written.place,
                    "marks",
                    "" if alike else "keep one of them",
                    edits=(without(written, cell),) if alike else (),
                )
            seen.setdefault((place, word.kind, word.layer), word)
        return len(self._book) == count

    def _slots(self, words: list[StrumWord], room: Room) -> tuple[Slot, ...]:
        if room.is_pickup:
            raise SlipError("a pick-up has no strum pattern of its own", write="")
        slots = tuple(slot for word in words for slot in word.slots)
        if self._meter is not None:
            slots_fit(slots, self._meter)
        return slots


def _place_of(word: MarkWord) -> Fraction:
    return Fraction(1) if word.place is None else word.place


def _syllables(cell: Cell, words: list[WordOfSyllables]) -> tuple[Syllable, ...]:
    syllables: list[Syllable] = []
    for word, written in zip(words, cell.words, strict=True):
        column = written.place.column
        for index, part in enumerate(word.parts):
            joined = bool(part) and (index < len(word.parts) - 1 or word.goes_on)
            width = max(len(part), 1)
            syllables.append(Syllable(part, joined, Source(written.place.line, column, width)))
            column += width + 1
    return tuple(syllables)


def without(word: Word, cell: Cell) -> Edit:
    """Return the edit that takes a word out of a cell, with the space before or after it."""
    place = cell.words.index(word)
    start, end = word.place.column, word.place.column + word.place.width
    if place:
        before = cell.words[place - 1].place
        start = before.column + before.width
    elif len(cell.words) > 1:
        end = cell.words[1].place.column
    return Edit(word.place.line, start, word.place.line, end, "")


def bar_lines_missing(lengths: list[Fraction], cell: Cell, length: Fraction) -> tuple[Edit, ...]:
    """Return the bar lines that a cell of several whole bars lacks; none where a note lies over them."""
    edits: list[Edit] = []
    at = Fraction(0)
    for word, length_beat in zip(cell.words, lengths, strict=True):
        if at and at % length == 0:
            edits.append(Edit(word.place.line, word.place.column, word.place.line, word.place.column, "| "))
        at += length_beat
    return tuple(edits) if at % length == 0 and len(edits) == at / length - 1 else ()


def _cut_down(
    lengths: list[Fraction], room: Room, row: RowName, cell: Cell
) -> tuple[str, Source, tuple[Edit, ...]]:
    """Return what to do about a cell that is too long: in words, what stands beyond its end, the edits if certain."""
    length = room.length_beat
    beyond = next(n for n in range(len(lengths)) if sum(lengths[: n + 1], Fraction(0)) > length)
    place = spanning(cell.words[beyond:])
    lines = () if room.is_pickup else bar_lines_missing(lengths, cell, length)
    if lines and len(lines) <= room.bars_lacking:
        return "", place, lines
    shorten = f"shorten a {'chord' if row == 'chords' else 'note'}"
    mend = (
        f"put the missing | between the bars, or {shorten}" if lines else f"{shorten}, or move the bar line"
    )
    return mend, place, ()


def _filled(
    lengths: list[Fraction], room: Room, row: RowName, cell: Cell
) -> tuple[str, Source | None, tuple[Edit, ...]]:
    """Return how a cell that is too short becomes whole: in words, the word that is meant, the edits."""
    rest = room.length_beat - sum(lengths, Fraction(0))
    thirds = [word for word in cell.words if _figure(word) in _ROUNDED]
    if thirds:
        exact = [Fraction(1 if _figure(word)[2] == "3" else 2, 3) for word in thirds]
        lost = sum(exact, Fraction(0)) - sum(map(Fraction, map(_figure, thirds)), Fraction(0))
        edits = tuple(_with_figure(word, third) for word, third in zip(thirds, exact, strict=True))
        return (_THIRDS, None, ()) if lost != rest else ("", spanning(thirds), edits)
    if row == "chords":
        if len(cell.words) > 1 or room.is_pickup:
            return "lengthen a chord", None, ()
        return "", None, (_with_figure(cell.words[0], None),)
    if room.is_pickup or rest.denominator > _FINEST_REST:
        return "lengthen a note, or add a rest", None, ()
    last = cell.words[-1]
    is_rest = last.text.partition(":")[0] == _REST
    bare = row == "melody" and ":" not in last.text and rest != room.left_to_pickup_beat
    if is_rest or bare:
        return "", last.place, (_with_figure(last, lengths[-1] + rest),)
    end = last.place.column + last.place.width
    silence = _REST if rest == 1 else f"{_REST}:{rest}"
    return "", None, (Edit(last.place.line, end, last.place.line, end, f" {silence}"),)


_THIRDS = "write thirds as 1/3 and 2/3: lengths are exact"
_LENGTH = re.compile(r":[\d./]+")


def _figure(word: Word) -> str:
    """Return the length of a word as written, empty for none."""
    found = _LENGTH.search(word.text)
    return found[0][1:] if found else ""


def _with_figure(word: Word, length_beat: Fraction | None) -> Edit:
    """Return the edit that gives a word a length, or takes it away."""
    found = _LENGTH.search(word.text)
    head = re.match(r"[^\[]*", word.text)
    start, end = found.span() if found else (head.end(), head.end()) if head else (0, 0)
    line, column = word.place.line, word.place.column
    by = "" if length_beat is None else f":{length_beat}"
    return Edit(line, column + start, line, column + end, by)


def guessed_lengths(cell: Cell, name: RowName) -> list[Fraction] | None:
    """Return the lengths that the words of a cell seem to have, bad ones counted by their figure; None for none."""
    lengths: list[Fraction] = []
    for word in cell.words:
        try:
            length_beat = read_word(KIND_OF_ROW[name], word.text).length_beat
        except SlipError:
            figure = _FIGURE.search(word.text)
            length_beat = Fraction(figure[1]) if figure else None
        if name == "chords" and length_beat is None:
            return None
        lengths.append(length_beat or Fraction(1))
    return lengths


def guessed_length(cell: Cell, name: RowName) -> Fraction | None:
    """Return the length that a cell seems to have; None when it has none."""
    return sum(guessed_lengths(cell, name) or (), Fraction(0)) or None


def slots_fit(slots: tuple[Slot, ...], meter: Meter) -> None:
    """Raise `SlipError` unless a strum pattern has one, two, three or four slots for each beat of the bar."""
    wanted = [times * meter.upper for times in (1, 2, 3, 4)]
    if len(slots) not in wanted:
        counts = f"{', '.join(map(str, wanted[:-1]))} or {wanted[-1]}"
        raise SlipError(
            f"a strum pattern in {meter} must have {counts} slots (got {len(slots)})",
            "write . for a slot in which nothing happens",
        )
