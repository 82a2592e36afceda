"""The class file, ``class.yaml`` beside the songs: what a class shares."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tercet.audio_formats import format_names
from tercet.errors import ParameterError
from tercet.song.frame import Entry, Listing, Node, Text, read_frame
from tercet.song.mistakes import CLASS_FILE, MistakeBook, SlipError
from tercet.song.model import OwnTrack, Players, Song
from tercet.song.own_tracks import read_own_tracks
from tercet.song.plain_text import read_text
from tercet.song.reader import open_book
from tercet.song.settings import (
    PLAYERS,
    SOUNDING_ABOUT,
    SOUNDING_SCHEMA,
    TUNING_SCHEMA,
    read_sounding,
    written_tuning,
)
from tercet.song.track_settings import TRACKS_SCHEMA
from tercet.song.values import (
    SPEED_SCHEMA,
    note_unknown,
    note_wrong,
    one_of,
    place_within,
    speeds_of,
    text_of,
    value_of,
    words_of,
)
from tercet.song.weeks import (
    THIS_WEEK_SCHEMA,
    WEEKS_SCHEMA,
    Week,
    WeekSong,
    read_this_week,
    read_weeks,
)
from tercet.theory import Pitch, meant_tunings, tuning_of
from tercet.theory.limits import MOST_KEY_SEMITONES

__all__ = [
    "CLASS_FILE_NAME",
    "CLASS_SETTINGS",
    "ClassFile",
    "ClassSetting",
    "class_path",
    "class_schema",
    "in_class",
    "is_class_file",
    "parse_class",
    "read_class",
    "read_class_beside",
    "without_weeks",
]

CLASS_FILE_NAME = "class.yaml"

MOST_ADDRESS = 200
"""Signs of an address: with a song's folder behind it, it is still a code that a phone reads from paper."""

_Fields = dict[str, Any]


@dataclass(frozen=True, slots=True)
class ClassFile:
    """What a class shares, read and checked; everything is empty where the file doesn't say.

    Parameters
    ----------
    name
        What the class is called.
    tunings
        Those present, each a name or four pitches, string 4 first.
    players
        Those present, in the order of what is asked of them.
    keys
        Singers' keys, a set of tracks for each: semitones from the key in which a song is played otherwise.
    speeds
        Parts of each song's tempo, 1/4 to 2: a set of tracks for each.
    formats
        Endings of audio files, without the dot.
    tracks
        Track kinds of the class's own.
    sounding
        How many semitones higher its songs are played than written, where they don't say so themselves; None for none.
    address
        Of the folder on the web in which its pages lie, without a slash at the end.
    this_week
        What is practised of which songs.
    weeks
        All weeks of the class, where it plans them.
    week_number
        Which of them this week is, from 1; 0 where it plans none.
    file
        Where it was read; doesn't take part in comparison.
    """

    name: str = ""
    tunings: tuple[str | tuple[Pitch, ...], ...] = ()
    players: tuple[Players, ...] = ()
    keys: tuple[int, ...] = ()
    speeds: tuple[Fraction, ...] = ()
    formats: tuple[str, ...] = ()
    tracks: tuple[OwnTrack, ...] = ()
    sounding: int | None = None
    address: str = ""
    this_week: tuple[WeekSong, ...] = ()
    weeks: tuple[Week, ...] = ()
    week_number: int = 0
    file: str = field(default=CLASS_FILE_NAME, compare=False)


@dataclass(frozen=True, slots=True)
class ClassSetting:
    """One setting of a class file: its name, a sentence for editors, how it is read, what JSON Schema says.

    `read` is None for ``tracks``, ``this-week`` and ``weeks``, which note mistakes of their own.
    """

    name: str
    about: str
    read: Callable[[Node], _Fields] | None
    schema: dict[str, Any]


# ---- reading one setting


def _read_tunings(node: Node) -> _Fields:
    tunings: dict[tuple[Pitch, ...], str | tuple[Pitch, ...]] = {}
    for item in _tunings_apart(node):
        try:
            tuning = written_tuning(item)
        except SlipError as wrong:
            raise wrong.put(f"a tuning {wrong.message}", item.place) from None
        pitches = tuning_of(tuning).open_pitches
        if pitches in tunings:
            shown = tuning if isinstance(tuning, str) else " ".join(map(str, tuning))
            raise SlipError(f"the tuning {shown} appears twice", "remove one", item.place)
        tunings[pitches] = tuning
    return {"tunings": tuple(tunings.values())}


def _tunings_apart(node: Node) -> list[Node]:
    """Return a node for each tuning: a name, a list of four notes, or up to four notes one after the other."""
    if isinstance(node, Text) and meant_tunings(node.text, near=False):
        return [node]
    items: list[Node] = [*node.items] if isinstance(node, Listing) else []
    if not isinstance(node, Listing):
        value_of(node)
    if isinstance(node, Text):
        names = re.finditer(r"(?i)\b(?:high|low) g\b|[^\s,;]+", node.text)
        items += [Text(name[0], "", place_within(node, name.start(), len(name[0]))) for name in names]
    apart: list[Node] = []
    notes: list[Node] = []
    for item in items:
        if not _is_note(item) or len(notes) == 4:
            apart += _gathered(notes)
            notes = []
        if _is_note(item):
            notes.append(item)
        else:
            apart.append(item)
    return apart + _gathered(notes)


def _gathered(notes: list[Node]) -> list[Node]:
    return [Listing(tuple(notes), notes[0].place)] if notes else []


def _is_note(node: Node) -> bool:
    if not isinstance(node, Text):
        return False
    try:
        Pitch.parse(node.text)
    except ParameterError:
        return False
    return True


def _read_address(node: Node) -> _Fields:
    """Read the address of a folder on the web."""
    written = text_of(node, MOST_ADDRESS)
    try:
        parts = urlsplit(written)
        whole = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        whole = False
    if not whole or not re.fullmatch(r"[!-~]+", written):
        raise SlipError("must be where the pages lie on the web", "write https://, the host, and the folder")
    if parts.username is not None or parts.query or parts.fragment:
        raise SlipError(
            "must be the address of a folder alone", "leave out what stands before @ and after ? or #"
        )
    return {"address": written.rstrip("/")}


def _read_players(node: Node) -> _Fields:
    found = _each_once(node, PLAYERS)
    return {"players": tuple(name for name in PLAYERS if name in found)}


def _read_keys(node: Node) -> _Fields:
    keys: list[int] = []
    for word, place in words_of(node):
        if not re.fullmatch(r"[+-]?\d{1,6}", word) or abs(int(word)) > MOST_KEY_SEMITONES:
            raise SlipError(
                f"a key must be so many semitones up or down, -{MOST_KEY_SEMITONES} to +{MOST_KEY_SEMITONES} "
                f"(got {word})",
                "write for instance 0, -2, +3",
                place,
            )
        if any((int(word) - other) % 12 == 0 for other in keys):
            raise SlipError(f"{word} is a key that stands there already", "remove it", place)
        keys.append(int(word))
    if not keys:
        raise SlipError("nothing is in this list", "write for instance 0, -2, +3, or leave the setting out")
    return {"keys": tuple(keys)}


def _read_formats(node: Node) -> _Fields:
    return {"formats": _each_once(node, format_names(), lambda word: word.lower().removeprefix("."))}


def _each_once(
    node: Node, known: tuple[str, ...], plain: Callable[[str], str] = lambda word: word
) -> tuple[str, ...]:
    """Read words that are known, in the order written."""
    found: list[str] = []
    for written, place in words_of(node):
        word = plain(written)
        try:
            one_of(word, known)
        except SlipError as wrong:
            raise wrong.put(place=place) from None
        if word in found:
            raise SlipError(f"{word} appears twice", "remove one", place)
        found.append(word)
    if not found:
        raise SlipError("nothing is in this list", "write a value, or leave the setting out")
    return tuple(found)


def _listed(one: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a text, or a list of such."""
    return {"anyOf": [{"type": "string", "minLength": 1}, {"type": "array", "items": one, "minItems": 1}]}


_KEY_SCHEMA = {"type": "integer", "minimum": -MOST_KEY_SEMITONES, "maximum": MOST_KEY_SEMITONES}
_KEYS_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "string", "pattern": r"^[+-]?[0-9]+([ ,]+[+-]?[0-9]+)*$"},
        _KEY_SCHEMA,
        {"type": "array", "items": _KEY_SCHEMA, "minItems": 1},
    ]
}

CLASS_SETTINGS: tuple[ClassSetting, ...] = (
    ClassSetting(
        "name",
        "What the class is called.",
        lambda node: {"name": text_of(node)},
        {"type": "string", "maxLength": 200},
    ),
    ClassSetting(
        "tunings",
        "The tunings present: a set of tracks is made for each.",
        _read_tunings,
        _listed({"anyOf": [{"type": "string", "minLength": 1}, TUNING_SCHEMA]}),
    ),
    ClassSetting(
        "players",
        "Who plays: a set of tracks is made for each, with a simpler part for beginners beside others.",
        _read_players,
        _listed({"enum": list(PLAYERS)}),
    ),
    ClassSetting(
        "keys",
        "Singers' keys, in semitones from that in which a song is played otherwise: a set of tracks is made for each.",
        _read_keys,
        _KEYS_SCHEMA,
    ),
    ClassSetting(
        "speeds",
        "How fast, as parts of each song's tempo: a set of tracks is made for each.",
        lambda node: {"speeds": speeds_of(node)},
        {"anyOf": [SPEED_SCHEMA, {"type": "array", "items": SPEED_SCHEMA, "minItems": 1}]},
    ),
    ClassSetting(
        "formats", "The kinds of audio file.", _read_formats, _listed({"enum": list(format_names())})
    ),
    ClassSetting(
        "address",
        "Where its pages lie on the web: sheets and handouts lead there.",
        _read_address,
        {"type": "string", "pattern": "^https?://[!-~]+$", "maxLength": MOST_ADDRESS},
    ),
    ClassSetting("sounding", SOUNDING_ABOUT, read_sounding, SOUNDING_SCHEMA),
    ClassSetting(
        "this-week",
        "What is practised this week: under each song's file name its bars, and a note; or which of the weeks it is.",
        None,
        THIS_WEEK_SCHEMA,
    ),
    ClassSetting(
        "weeks",
        "The weeks of the class in order: for each its songs, as under this-week, its name and a note.",
        None,
        WEEKS_SCHEMA,
    ),
    ClassSetting(
        "tracks",
        "Tracks of the class's own, made of every song: for each its name, and under it what it is.",
        None,
        TRACKS_SCHEMA,
    ),
)
_BY_NAME = {setting.name: setting for setting in CLASS_SETTINGS}
_OTHER_NAMES = {
    "title": "name",
    "class": "name",
    "tuning": "tunings",
    "instruments": "tunings",
    "player": "players",
    "level": "players",
    "levels": "players",
    "speed": "speeds",
    "tempo": "speeds",
    "key": "keys",
    "format": "formats",
    "files": "formats",
    "url": "address",
    "link": "address",
    "site": "address",
    "website": "address",
    "transpose": "sounding",
    "week": "this-week",
    "this_week": "this-week",
    "practise": "this-week",
    "homework": "this-week",
    "term": "weeks",
    "plan": "weeks",
    "lessons": "weeks",
    "track": "tracks",
    "kinds": "tracks",
}


# ---- reading the file


def class_path(song: str | Path) -> Path:
    """Return where the class file of a song lies, or would lie."""
    return Path(song).parent / CLASS_FILE_NAME


def is_class_file(path: str | Path) -> bool:
    """Return whether a path names a class file: a shell's ``songs/*.yaml`` names it with the songs."""
    return Path(path).name == CLASS_FILE_NAME


def read_class_beside(song: str | Path) -> ClassFile | None:
    """Read the class file that lies beside a song; None when there is none.

    Parameters
    ----------
    song
        Where the song lies; it isn't read.

    Raises
    ------
    SongError
        With every mistake of the class file.
    RequestError
        When it can't be read.
    """
    path = class_path(song)
    return read_class(path) if os.path.isfile(path) else None  # noqa: PTH113 - no error where we may not look


def read_class(path: str | Path) -> ClassFile:
    """Read a class file; raises as `read_class_beside` does."""
    songs = {each.stem for each in Path(path).parent.glob("*.yaml")} - {Path(CLASS_FILE_NAME).stem}
    return parse_class(read_text(Path(path), CLASS_FILE), str(path), songs)


def parse_class(text: str, file: str = CLASS_FILE_NAME, songs: Collection[str] | None = None) -> ClassFile:
    r"""Read the text of a class file.

    Parameters
    ----------
    text
        What the file holds.
    file
        What to call it in messages.
    songs
        The names of the songs beside it, which it may speak of; None where nobody knows.

    Raises
    ------
    SongError
        With every mistake of the text.

    Examples
    --------
    >>> parse_class("name: Tuesday class\ntunings: high-g, low-g\n").tunings
    ('high-g', 'low-g')
    """
    book = open_book(text, file, CLASS_FILE)
    top = read_frame(book, {**{name: name for name in _BY_NAME}, **_OTHER_NAMES})
    if any(entry.key.text == "sections" for entry in top.entries):
        wrong = f"this is a song, and a file named {CLASS_FILE_NAME} holds what a class shares"
        book.add(wrong, mend="give the song's file another name")
        raise book.error()
    fields: _Fields = {}
    this_week: Entry | None = None
    for entry in top.entries:
        setting = _BY_NAME.get(entry.key.text)
        if setting is None:
            note_unknown(entry, _BY_NAME, _OTHER_NAMES, {entry.key.text for entry in top.entries}, book)
        elif setting.name == "this-week":
            this_week = entry
            fields["this_week"] = read_this_week(entry.value, entry.key.place, book, songs)
        elif setting.name == "weeks":
            fields["weeks"] = read_weeks(entry.value, entry.key.place, book, songs)
        elif setting.read is None:
            fields[setting.name] = read_own_tracks(entry.value, entry.key.place, book)
        else:
            try:
                fields |= setting.read(entry.value)
            except SlipError as wrong:
                note_wrong(setting.name, setting.read, entry, wrong, book)
    fields |= _chosen_week(fields.get("this_week", ()), fields.get("weeks", ()), this_week, book)
    book.raise_if_any()
    return ClassFile(**fields, file=file)


def _chosen_week(
    this_week: tuple[WeekSong, ...] | int, weeks: tuple[Week, ...], entry: Entry | None, book: MistakeBook
) -> _Fields:
    """Return which of its weeks a class has this week, the first where it doesn't say, and what it practises."""
    wrong = mend = ""
    if isinstance(this_week, int):
        if 1 <= this_week <= len(weeks):
            return {"this_week": weeks[this_week - 1].songs, "week_number": this_week}
        wrong = f"there is no week {this_week}"
        mend = f"write a number from 1 to {len(weeks)}" if weeks else "plan them under weeks, or write songs"
    elif this_week and weeks:
        wrong, mend = (
            "the songs of this week stand here and under weeks",
            "write which week it is: this-week: 1",
        )
    elif weeks:
        return {"this_week": weeks[0].songs, "week_number": 1}
    else:
        return {"this_week": this_week}
    if entry is not None:
        place = entry.value.place if isinstance(this_week, int) else entry.key.place
        book.add(wrong, place, entry.key.text, mend)
    return {"this_week": ()}


def in_class(song: Song, class_file: ClassFile | None) -> Song:
    """Return a song as its class plays it: what it doesn't say of itself, the class file says."""
    if class_file is None or song.sounding is not None:
        return song
    return replace(song, sounding=class_file.sounding)


def without_weeks(class_file: ClassFile) -> ClassFile:
    """Return what its songs' recordings depend on: a class file without what is practised when, and where it lies."""
    return replace(class_file, this_week=(), weeks=(), week_number=0, file="")


def class_schema() -> dict[str, Any]:
    """Return the schema of a class file, as JSON Schema draft 2020-12."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Tercet class file",
        "description": "What a class shares, beside its songs.",
        "type": "object",
        "properties": {
            setting.name: {"description": setting.about, **setting.schema} for setting in CLASS_SETTINGS
        },
        "additionalProperties": False,
    }
