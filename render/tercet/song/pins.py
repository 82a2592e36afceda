"""Writing a fingering into an arrangement file: pins behind notes, shapes behind chords, everything else as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tercet.errors import ParameterError
from tercet.song.grammar import WordKind, read_word
from tercet.song.mistakes import SlipError
from tercet.song.model import Pin, Source
from tercet.song.plain_text import split_lines
from tercet.song.rows import same_hyphen
from tercet.song.spelling import word_text
from tercet.song.writer import tidy_text

__all__ = ["pinned_text"]


def pinned_text(
    text: str,
    pins: Mapping[Source, Pin],
    shapes: Mapping[Source, tuple[int | None, ...]],
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
        By the place of a chord: four frets, string 4 first, None for a string that is left out.
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
    words |= {place: _written(lines, place, "chord", {"shape": shape}) for place, shape in shapes.items()}
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
