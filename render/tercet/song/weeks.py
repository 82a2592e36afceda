"""The weeks of a class, as its class file plans them: what is practised of which songs, this week and in all others."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tercet.song.bar_choice import meant_bars, says_bars
from tercet.song.frame import Entry, Listing, Mapping, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import Source
from tercet.song.values import text_of, value_of, words_of
from tercet.wording import listed

__all__ = ["THIS_WEEK_SCHEMA", "WEEKS_SCHEMA", "Week", "WeekSong", "read_this_week", "read_weeks"]

LONGEST_NOTE, LONGEST_NAME = 400, 60
MOST_TRACKS = 12
THIS, ALL = "this-week", "weeks"

_EXAMPLE = '  harbour-lanterns: {bars: 5-8, note: "…"}'
_THIS_EXAMPLE = f"write this-week: and under it a song's file name, `{_EXAMPLE}`"
_WEEKS_EXAMPLE = f"write weeks: and under it for each week `- songs:`, with a line such as `{_EXAMPLE}`"

_SONGS_SCHEMA: dict[str, Any] = {
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
                    "tracks": {
                        "description": "With which tracks, in the order of the lesson.",
                        "anyOf": [
                            {"type": "string", "minLength": 1},
                            {
                                "type": "array",
                                "items": {"type": "string", "minLength": 1},
                                "minItems": 1,
                                "maxItems": MOST_TRACKS,
                            },
                        ],
                    },
                },
                "additionalProperties": False,
                "minProperties": 1,
            },
        ]
    },
}
THIS_WEEK_SCHEMA: dict[str, Any] = {"anyOf": [_SONGS_SCHEMA, {"type": "integer", "minimum": 1}]}
WEEKS_SCHEMA: dict[str, Any] = {
    "type": "array",
    "minItems": 1,
    "items": {
        "type": "object",
        "properties": {
            "name": {
                "description": "What the week is called: its date, or anything else.",
                "type": ["string", "integer"],
                "maxLength": LONGEST_NAME,
            },
            "note": {
                "description": "What students are told of this week.",
                "type": "string",
                "maxLength": LONGEST_NOTE,
            },
            "songs": _SONGS_SCHEMA,
        },
        "required": ["songs"],
        "additionalProperties": False,
    },
}


@dataclass(frozen=True, slots=True)
class WeekSong:
    """What is practised of one song in a week.

    Parameters
    ----------
    song
        The name of its file, without the ending.
    bars
        As `tercet.song.bar_indices` reads them; empty for none in particular.
    note
        What the teacher says of it; may be empty.
    tracks
        With which tracks, in the order of the lesson; whether there are such isn't known here.
    """

    song: str
    bars: str = ""
    note: str = ""
    tracks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Week:
    """One week of a class: what it is called, what students are told, its songs in the order of the lesson."""

    name: str
    songs: tuple[WeekSong, ...]
    note: str = ""


def read_this_week(
    node: Node, key: Source, book: MistakeBook, songs: Collection[str] | None = None
) -> tuple[WeekSong, ...] | int:
    """Read the setting ``this-week``: songs, or the number of one of the weeks.

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
    if isinstance(node, Text) and re.fullmatch(r"[0-9]{1,4}", node.text):
        return int(node.text)
    if not isinstance(node, Mapping) or not node.entries:
        place = key if isinstance(node, Text) and not node.text else node.place
        book.add("this-week needs songs, and for each its bars or a note", place, THIS, _THIS_EXAMPLE)
        return ()
    return _read_songs(node, THIS, book, songs)


def read_weeks(
    node: Node, key: Source, book: MistakeBook, songs: Collection[str] | None = None
) -> tuple[Week, ...]:
    """Read the setting ``weeks``: a list, each week with its songs; parameters as for `read_this_week`."""
    if not isinstance(node, Listing) or not node.items:
        place = key if isinstance(node, Text) and not node.text else node.place
        book.add("weeks needs a list, and for each week its songs", place, ALL, _WEEKS_EXAMPLE)
        return ()
    return tuple(_read_week(item, number, book, songs) for number, item in enumerate(node.items, 1))


def _read_week(node: Node, number: int, book: MistakeBook, songs: Collection[str] | None) -> Week:
    row, usual = f"{ALL}, week {number}", f"Week {number}"
    if not isinstance(node, Mapping):
        book.add(f"no songs are written for week {number}", node.place, ALL, _WEEKS_EXAMPLE)
        return Week(usual, ())
    name, note = usual, ""
    practised: tuple[WeekSong, ...] | None = None
    for part in node.entries:
        if part.key.text == "songs":
            practised = ()
            if isinstance(part.value, Mapping) and part.value.entries:
                practised = _read_songs(part.value, row, book, songs)
            else:
                wrong = f"no songs are written for week {number}, with bars or a note for each"
                book.add(wrong, part.key.place, row, _WEEKS_EXAMPLE)
        elif part.key.text == "name":
            name = _read_text(part, row, book, LONGEST_NAME) or usual
        elif part.key.text == "note":
            note = _read_text(part, row, book, LONGEST_NOTE)
        else:
            _note_unknown(part, "a week", ("name", "note", "songs"), row, book)
    if practised is None:
        book.add(f"no songs are written for week {number}", node.place, row, _WEEKS_EXAMPLE)
    return Week(name, practised or (), note)


def _read_songs(
    node: Mapping, row: str, book: MistakeBook, songs: Collection[str] | None
) -> tuple[WeekSong, ...]:
    found: dict[str, WeekSong] = {}
    for entry in node.entries:
        name = Path(entry.key.text).stem if entry.key.text.endswith(".yaml") else entry.key.text
        if songs is not None and name not in songs:
            meant = meant_word(name.casefold().replace(" ", "-"), songs)
            book.add(
                f"no song `{name[:40]}` lies beside this file",
                entry.key.place,
                row,
                "" if meant else "name a song's file, without .yaml",
                write=meant or None,
            )
        elif name in found:
            book.add(f"the song {name[:40]} appears twice", entry.key.place, row, "remove one")
        else:
            found[name] = _read_song(name, entry, row, book)
    return tuple(found.values())


def _read_song(name: str, entry: Entry, row: str, book: MistakeBook) -> WeekSong:
    """Return what is said of a song; its bars alone may stand behind its name."""
    row = f"{row}, {name[:40]}"
    if not isinstance(entry.value, Mapping):
        return WeekSong(name, _read_bars(entry, row, book))
    bars = note = ""
    tracks: tuple[str, ...] = ()
    for part in entry.value.entries:
        if part.key.text == "bars":
            bars = _read_bars(part, row, book)
        elif part.key.text == "note":
            note = _read_text(part, row, book, LONGEST_NOTE)
        elif part.key.text == "tracks":
            tracks = _read_tracks(part, row, book)
        else:
            _note_unknown(part, "a song of a week", ("bars", "note", "tracks"), row, book)
    return WeekSong(name, bars, note, tracks)


def _note_unknown(part: Entry, what: str, known: tuple[str, ...], row: str, book: MistakeBook) -> None:
    meant = meant_word(part.key.text, known)
    wrong = f"{what} has no `{part.key.text[:40]}`"
    mend = "" if meant else f"write {listed(known, 'or')}"
    book.add(wrong, part.key.place, row, mend, write=meant or None)


def _read_text(part: Entry, row: str, book: MistakeBook, longest: int) -> str:
    try:
        return text_of(part.value, longest)
    except SlipError as wrong:
        book.add_slip(wrong, part.value.place, f"{row}, {part.key.text}")
        return ""


def _read_tracks(part: Entry, row: str, book: MistakeBook) -> tuple[str, ...]:
    try:
        return _tracks_of(part.value)
    except SlipError as wrong:
        book.add_slip(wrong, part.value.place, f"{row}, tracks")
        return ()


def _tracks_of(node: Node) -> tuple[str, ...]:
    tracks = tuple(dict.fromkeys(word for word, _ in words_of(node)))
    if not tracks:
        raise SlipError("nothing is in this list", "name a track, or leave the setting out")
    if len(tracks) > MOST_TRACKS:
        raise SlipError(f"must be at most {MOST_TRACKS} tracks (got {len(tracks)})", "leave some out")
    return tracks


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
