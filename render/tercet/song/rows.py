"""A section's block taken apart: lines of music, rows, cells and words, each with its place in the file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from tercet.errors import Edit
from tercet.song.frame import BodyLine
from tercet.song.grammar import WordKind, read_word
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import ROW_NAMES, RowName, Source

__all__ = [
    "KIND_OF_ROW",
    "Blank",
    "BlockLine",
    "Cell",
    "Comment",
    "Word",
    "WrittenRow",
    "spanning",
    "take_apart",
]

KIND_OF_ROW: dict[RowName, WordKind] = {
    "chords": "chord",
    "melody": "note",
    "between": "note",
    "strum": "strum",
    "words": "syllables",
    "marks": "mark",
}

_OTHER_NAMES: dict[str, RowName] = {
    **dict.fromkeys(
        ("lyrics", "lyric", "text", "songtext", "liedtext", "letra", "texto", "paroles", "testo"), "words"
    ),
    **dict.fromkeys(
        ("tune", "notes", "melodie", "mélodie", "melodía", "melodia", "noten", "notas"), "melody"
    ),
    **dict.fromkeys(("harmony", "akkorde", "acordes", "accords", "accordi", "acordos"), "chords"),
    "rhythm": "strum",
    "strums": "strum",
    "pattern": "strum",
    "dynamics": "marks",
}
_HEAD = re.compile(r"\s*([^\s|]*)")
_PASS = re.compile(r"\s*(last|\d{1,3})(?=[\s|]|$)")
_BAD_PASS = re.compile(r"\s*(\d{1,3}(?:[,;&+-]\d{1,3})*[,;:.]?)(?=[\s|]|$)")
_MOST_PASSES = 99
_PIECE = re.compile(r"[|‖¦│｜]+|[^\s|‖¦│｜]+")
_SHARP_FIRST = re.compile(r"#[A-Ga-g](?![A-Za-z])")
_REPEAT_SIGN = re.compile(r":[|‖]|[|‖]:")


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a row and where it stands."""

    text: str
    place: Source


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands between two bar lines; `place` spans it, or is where it would begin."""

    words: tuple[Word, ...]
    place: Source


@dataclass(frozen=True, slots=True)
class WrittenRow:
    """A row as written.

    `opening` tells that a bar line stands before everything else, so cell 0 is empty; `closed` that one stands
    after everything else, with no cell behind it.
    """

    name: RowName
    passes: tuple[int, ...]
    cells: tuple[Cell, ...]
    opening: bool
    closed: bool
    place: Source

    @property
    def label(self) -> str:
        """Name and passes as written: ``"words 2 4"``."""
        return " ".join([self.name, *("last" if number < 0 else str(number) for number in self.passes)])


@dataclass(frozen=True, slots=True)
class Comment:
    """A line that starts with #."""

    text: str


@dataclass(frozen=True, slots=True)
class Blank:
    """An empty line."""


BlockLine = WrittenRow | Comment | Blank | None
"""A line of a block; None for a row whose name isn't known."""


def take_apart(body: tuple[BodyLine, ...], book: MistakeBook) -> list[BlockLine]:
    """Return the parts of a block, line by line."""
    parts: list[BlockLine] = []
    for line in body:
        if book.full:
            break
        stripped = line.text.strip()
        if not stripped:
            parts.append(Blank())
        elif stripped.startswith("#"):
            parts.append(Comment(stripped))
        else:
            parts.append(_row(line, book))
    return parts


def _row(line: BodyLine, book: MistakeBook) -> WrittenRow | None:
    head = _HEAD.match(line.text)
    written = head[1] if head else ""
    column = head.start(1) if head else 0
    place = Source(line.number, column + 1, max(len(written), 1))
    name, glued = _row_name(written, line, place, book)
    if name is None:
        return None
    start = column + len(written) - len(glued)
    passes, start = _passes(name, line, start, book)
    cells, closed = _cells(name, line, start, book)
    opening = bool(cells) and not cells[0].words
    return WrittenRow(name, passes, cells, opening, closed, place)


def _row_name(written: str, line: BodyLine, place: Source, book: MistakeBook) -> tuple[RowName | None, str]:
    """Return the row's name, and what is glued to it without a space."""
    for known in ROW_NAMES:
        if written == known:
            return known, ""
    plain = written.casefold().rstrip(":.")
    name: RowName | None = next((known for known in ROW_NAMES if known == plain), None)
    if name is not None:
        wrong = (
            "the row's name stands without a colon" if written[-1] in ":." else "row names are written small"
        )
        book.add(wrong, place, write=name)
        return name, ""
    for known in ROW_NAMES:
        if plain.startswith(known) and written[len(known) :].strip(":"):
            rest = written[len(known) :].lstrip(":")
            book.add("a space is missing after the row's name", place, write=f"{known} {rest}")
            return known, rest
    name = _OTHER_NAMES.get(plain) or next(
        (known for known in ROW_NAMES if known == meant_word(plain, ROW_NAMES)), None
    )
    if name is not None:
        book.add(f"`{written}` isn't a row", place, write=name)
        return name, ""
    rows = "rows are " + ", ".join(ROW_NAMES)
    if not written or _looks_like_music(written):
        book.add(
            "a row starts with its name",
            place,
            mend=f"write for instance {_row_of(line.text)} {line.text.strip()[:30]}",
        )
    else:
        book.add(f"`{written[:40]}` isn't a row", place, mend=rows)
    return None, ""


def _row_of(text: str) -> RowName:
    """Return the row that a line without a name seems to be: of chords, or of notes."""
    words = [word for word in text.split() if word != "|"]
    notes = all(_reads("note", word) for word in words) and any(word[-1].isdigit() for word in words)
    return "chords" if not notes and all(_reads("chord", word) for word in words) else "melody"


def _looks_like_music(text: str) -> bool:
    return _reads("note", text) or _reads("chord", text)


def _reads(kind: WordKind, text: str) -> bool:
    try:
        read_word(kind, text)
    except SlipError:
        return False
    return True


def _passes(name: RowName, line: BodyLine, start: int, book: MistakeBook) -> tuple[tuple[int, ...], int]:
    """Read the passes after a row's name; return them in order, and where the row goes on."""
    passes: list[int] = []
    while True:
        match = _PASS.match(line.text, start)
        if match:
            numbers = [-1 if match[1] == "last" else int(match[1])]
        elif match := _BAD_PASS.match(line.text, start):
            numbers = _numbers(match[1])
            book.add(
                "passes are numbers with spaces between them",
                Source(line.number, match.start(1) + 1, len(match[1])),
                name,
                write=" ".join(map(str, numbers)),
            )
        else:
            break
        place = Source(line.number, match.start(1) + 1, len(match[1]))
        for number in numbers:
            if number == 0 or number > _MOST_PASSES:
                book.add(f"a pass must be 1 to {_MOST_PASSES}, or last (got {number})", place, name)
            elif number in passes:
                again = Edit(place.line, start + 1, place.line, match.end() + 1, "")
                once = (again,) if len(numbers) == 1 else ()
                mend = "" if once else "name each pass once"
                book.add(f"pass {match[1]} is named twice", place, name, mend, edits=once)
            else:
                passes.append(number)
        start = match.end()
    return tuple(sorted(passes, key=lambda number: (number < 0, number))), start


def _numbers(text: str) -> list[int]:
    """Return the numbers that people mean by ``2,4`` and ``2-4``."""
    numbers: list[int] = []
    for run in re.findall(r"\d+(?:-\d+)*", text):
        ends = [int(digits) for digits in run.split("-")]
        numbers += range(ends[0], ends[-1] + 1) if len(ends) > 1 else ends
    return numbers


def _cells(name: RowName, line: BodyLine, start: int, book: MistakeBook) -> tuple[tuple[Cell, ...], bool]:
    """Split the rest of a row at its bar lines; tell also whether a bar line stands last."""
    repeats = list(_REPEAT_SIGN.finditer(line.text, start))
    for repeat in repeats:
        book.add(
            "repeats are written in the form, not with repeat signs",
            Source(line.number, repeat.start() + 1, 2),
            name,
            "write a plain | here and `form: verse*2`",
        )
    cells: list[list[Word]] = [[]]
    columns = [start]
    for match in _PIECE.finditer(line.text, start):
        piece = match[0].strip(":") if repeats and match[0].strip(":") == "" else match[0]
        place = Source(line.number, match.start() + 1, len(match[0]))
        if piece and piece[0] in "|‖¦│｜":
            if piece != "|":
                book.add(
                    "a bar line is a single |",
                    place,
                    name,
                    write="|",
                )
            cells.append([])
            columns.append(match.end())
        elif piece == "#" or (piece.startswith("#") and name != "words" and not _SHARP_FIRST.match(piece)):
            remark = line.text[match.start() :].rstrip()
            indent = line.text[: len(line.text) - len(line.text.lstrip())]
            kept = len(line.text[: match.start()].rstrip())
            book.add(
                "a comment stands on a line of its own",
                Source(line.number, place.column, len(remark)),
                name,
                edits=(
                    Edit(line.number, 1, line.number, 1, f"{indent}{remark}\n"),
                    Edit(line.number, kept + 1, line.number, len(line.text) + 1, ""),
                ),
            )
            break
        elif piece:
            cells[-1].append(Word(piece, place))
    ended = len(cells) > 1 and not cells[-1]
    if ended or (len(cells) == 1 and not cells[0]):
        cells.pop()
    made = tuple(
        Cell(tuple(words), _span(words, Source(line.number, column + 1)))
        for words, column in zip(cells, columns, strict=False)
    )
    return made, ended


def _span(words: list[Word], otherwise: Source) -> Source:
    if not words:
        return otherwise
    return spanning(words)


def spanning(words: Sequence[Word]) -> Source:
    """Return the place of words of one row, from the first to the last."""
    first, last = words[0].place, words[-1].place
    return Source(first.line, first.column, last.column + last.width - first.column)
