"""What a class practises this week: for each song bars and a note, as its class file says."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tercet.song.bar_choice import meant_bars, says_bars
from tercet.song.frame import Entry, Mapping, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import Source
from tercet.song.values import text_of, value_of

__all__ = ["THIS_WEEK_SCHEMA", "SongThisWeek", "read_this_week"]

LONGEST_NOTE = 400
ROW = "this-week"

_EXAMPLE = 'write this-week: and under it a song\'s file name, `  harbour-lanterns: {bars: 5-8, note: "…"}`'

THIS_WEEK_SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": {
        "anyOf": [
            {"type": ["string", "integer"]},
            {
                "type": "object",
                "properties": {
                    "bars": {
                        "description": "Which bars, as in --bars: 5-8, verse:3-4 or verse@2.",
                        "type": ["string", "integer"],
                    },
                    "note": {
                        "description": "What to look after, in a sentence or two.",
                        "type": "string",
                        "maxLength": LONGEST_NOTE,
                    },
                },
                "additionalProperties": False,
                "minProperties": 1,
            },
        ]
    },
}


@dataclass(frozen=True, slots=True)
class SongThisWeek:
    """What is practised of one song.

    Parameters
    ----------
    song
        The name of its file, without the ending.
    bars
        As `tercet.song.bar_indices` reads them; empty for none in particular.
    note
        What the teacher says of it; may be empty.
    """

    song: str
    bars: str = ""
    note: str = ""


def read_this_week(
    node: Node, key: Source, book: MistakeBook, songs: Collection[str] | None = None
) -> tuple[SongThisWeek, ...]:
    """Read the setting ``this-week``.

    Parameters
    ----------
    node
        Its value.
    key
        Where its name stands.
    book
        Where mistakes are noted.
    songs
        The names of the songs that lie beside the class file; None where that isn't known.
    """
    if not isinstance(node, Mapping) or not node.entries:
        place = key if isinstance(node, Text) and not node.text else node.place
        book.add("this-week needs songs, and for each its bars or a note", place, ROW, _EXAMPLE)
        return ()
    found: dict[str, SongThisWeek] = {}
    for entry in node.entries:
        name = Path(entry.key.text).stem if entry.key.text.endswith(".yaml") else entry.key.text
        if songs is not None and name not in songs:
            meant = meant_word(name.casefold().replace(" ", "-"), songs)
            book.add(
                f"no song `{name[:40]}` lies beside this file",
                entry.key.place,
                ROW,
                "" if meant else "name a song's file, without .yaml",
                write=meant or None,
            )
        elif name in found:
            book.add(f"the song {name[:40]} appears twice", entry.key.place, ROW, "remove one")
        else:
            found[name] = _read_song(name, entry, book)
    return tuple(found.values())


def _read_song(name: str, entry: Entry, book: MistakeBook) -> SongThisWeek:
    """Return what is said of a song; its bars alone may stand behind its name."""
    row = f"{ROW}, {name[:40]}"
    if not isinstance(entry.value, Mapping):
        return SongThisWeek(name, _read_bars(entry, row, book))
    bars = note = ""
    for part in entry.value.entries:
        if part.key.text == "bars":
            bars = _read_bars(part, row, book)
        elif part.key.text == "note":
            note = _read_note(part, row, book)
        else:
            meant = meant_word(part.key.text, ("bars", "note"))
            wrong = f"a song of this week has no `{part.key.text[:40]}`"
            book.add(wrong, part.key.place, row, "" if meant else "write bars or note", write=meant or None)
    return SongThisWeek(name, bars, note)


def _read_note(part: Entry, row: str, book: MistakeBook) -> str:
    try:
        return text_of(part.value, LONGEST_NOTE)
    except SlipError as wrong:
        book.add_slip(wrong, part.value.place, f"{row}, note")
        return ""


def _read_bars(part: Entry, row: str, book: MistakeBook) -> str:
    try:
        return _bars_of(part.value)
    except SlipError as wrong:
        empty = isinstance(part.value, Text) and not part.value.text
        book.add_slip(wrong, part.key.place if empty else part.value.place, f"{row}, bars")
        return ""


def _bars_of(node: Node) -> str:
    bars = value_of(node)
    if says_bars(bars):
        return bars
    meant = next(iter(meant_bars(bars)), None)
    mend = "" if meant else "write 7, 5-8, verse:3-4 or verse@2"
    raise SlipError("doesn't say which bars", mend, write=meant)
