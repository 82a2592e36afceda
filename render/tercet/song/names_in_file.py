"""How a file names its notes: whether its B may be a German one, and whether it writes Do Re Mi."""

from __future__ import annotations

import re
from collections.abc import Iterable

from tercet.song.grammar import read_word
from tercet.song.mistakes import SlipError
from tercet.song.rows import KIND_OF_ROW, BlockLine, WrittenRow
from tercet.song.slips import Around
from tercet.theory.note_names import notes_elsewhere

__all__ = ["names_in"]

_CALLED_B = re.compile(r"B(?![b♭])")
_CALLED_H = re.compile(r"[Hh](?=$|[\dm:/\[-]|is|sus|dim|maj)")
_AFTER_SYLLABLE = re.compile(r"(?:\d|m|M|maj|sus|dim|-)*(?:/.*)?(?:[:\[].*)?")


def names_in(parts: Iterable[BlockLine]) -> Around:
    """Return how the rows of a file, of all its sections, name notes and chords."""
    b_lines: dict[int, None] = {}
    has_h = syllables = False
    for row in parts:
        if not isinstance(row, WrittenRow) or row.name not in ("chords", "melody", "between"):
            continue
        for text in {word.text for cell in row.cells for word in cell.words}:
            if _CALLED_B.match(text):
                b_lines[row.place.line] = None
            has_h = has_h or _CALLED_H.match(text) is not None
            syllables = syllables or _is_syllable(row, text)
    lines = f"line{'s' if len(b_lines) > 1 else ''} {', '.join(map(str, b_lines))}"
    return Around(h_beside_b=lines if has_h and b_lines else "", syllables=syllables)


def _is_syllable(row: WrittenRow, text: str) -> bool:
    named = [note for note in notes_elsewhere(text) if note.naming == "syllables"]
    if not named or not _AFTER_SYLLABLE.fullmatch(named[0].rest):
        return False
    try:
        read_word(KIND_OF_ROW[row.name], text)
    except SlipError:
        return True
    return False
