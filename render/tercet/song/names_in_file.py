"""How a file names its notes: whether its B may be a German one, and whether it writes Do Re Mi."""

from __future__ import annotations

import re
from collections.abc import Iterable

from tercet.song.rows import KIND_OF_ROW, BlockLine, WrittenRow
from tercet.song.slips import CALLED_B, Around, can_be_read
from tercet.theory import Key
from tercet.theory.note_names import Naming, notes_elsewhere

__all__ = ["names_in"]

_CALLED_H = re.compile(r"[Hh](?=$|[\dm:/\[-]|is|sus|dim|maj)")
_GERMAN_MODE = re.compile(r"-?(?:dur|moll)(?![a-z])", re.IGNORECASE)
_AFTER_NAME = re.compile(r"(?:\d|m|M|maj|sus|dim|-)*(?:/.*)?(?:[:\[].*)?")


def names_in(parts: Iterable[BlockLine], key: Key | None) -> Around:
    """Return how the rows of a file, of all its sections, name notes and chords.

    Parameters
    ----------
    parts
        The rows.
    key
        The song's key, if one is known. Where it has no B flat, a German would have no use for a B, and B is B.
    """
    b_lines: dict[int, None] = {}
    has_h = german = syllables = False
    for row in parts:
        if not isinstance(row, WrittenRow) or row.name not in ("chords", "melody", "between"):
            continue
        for text in {word.text for cell in row.cells for word in cell.words}:
            if CALLED_B.match(text):
                b_lines[row.place.line] = None
            has_h = has_h or _CALLED_H.match(text) is not None
            if not can_be_read(KIND_OF_ROW[row.name], text):
                german = german or _is(text, "german")
                syllables = syllables or _is(text, "syllables")
    german = german and (key is None or key.fifths < 0)
    lines = f"line{'s' if len(b_lines) > 1 else ''} {', '.join(map(str, b_lines))}"
    return Around(
        h_beside_b=lines if has_h and b_lines else "",
        german=german,
        syllables=syllables,
    )


def _is(text: str, naming: Naming) -> bool:
    """Return whether a word that can't be read names its note in another way, or says dur or moll."""
    named = [note for note in notes_elsewhere(text) if note.naming == naming]
    if naming == "german" and _GERMAN_MODE.search(text):
        return True
    return bool(named) and _AFTER_NAME.fullmatch(named[0].rest) is not None
