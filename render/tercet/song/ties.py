"""A tie written at the note that is held, as ``C5:3~``: the note after it is what goes on, and is written ``=``."""

from __future__ import annotations

from tercet.errors import Edit
from tercet.song.grammar import NoteWord, read_word
from tercet.song.mistakes import SlipError
from tercet.song.rows import Word, WrittenRow

__all__ = ["tie_slip"]

_TIE = "~"


def tie_slip(row: WrittenRow, word: Word) -> SlipError | None:
    """Return what is wrong with a note that has a tie, with the edits that mend it; None for any other word.

    Parameters
    ----------
    row, word
        The row, and which of its words couldn't be read.
    """
    note = _note(word)
    if _TIE not in word.text or note is None or note.is_rest:
        return None
    edits = _edits(row, word, note)
    mend = f"take the {_TIE} away; where the note goes on, write = and its length, such as =:2, instead of the note"
    message = f"a note that goes on is written =, and the note before it has no {_TIE}"
    return SlipError(message, "" if edits else mend, edits=edits)


def _edits(row: WrittenRow, word: Word, note: NoteWord) -> tuple[Edit, ...]:
    """Return the edits that take the tie away and write ``=`` for the same note after it; none if that isn't it."""
    words = [each for cell in row.cells for each in cell.words]
    following = words[words.index(word) + 1 :]
    after = _note(following[0]) if following else None
    away = tuple(_edit(word, place, place + 1, "") for place, sign in enumerate(word.text) if sign == _TIE)
    if after is None or after.pin is not None:
        return ()
    if after.goes_on:
        return away
    if after.is_rest or not _same(note, after):
        return ()
    text, _, _ = following[0].text.partition(_TIE)
    return (*away, _edit(following[0], 0, len(text), "=" + text[len(text.partition(":")[0]) :]))


def _edit(word: Word, start: int, end: int, text: str) -> Edit:
    line, column = word.place.line, word.place.column
    return Edit(line, column + start, line, column + end, text)


def _note(word: Word) -> NoteWord | None:
    """Return a word read without its tie; None when it can't be read."""
    try:
        found: NoteWord = read_word("note", word.text.replace(_TIE, ""))
    except SlipError:
        return None
    return found


def _same(note: NoteWord, after: NoteWord) -> bool:
    """Return whether two notes have the same pitch, as far as the words say it."""
    if (note.letter, note.alter, note.position) != (after.letter, after.alter, after.position):
        return False
    return after.octave is None or note.octave is None or after.octave == note.octave
