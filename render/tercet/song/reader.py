"""Reading an arrangement file: from text to a `Song`, or to all its mistakes."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

from tercet.errors import Edit
from tercet.song.added_bars import check_added
from tercet.song.cells import slots_fit
from tercet.song.form import check_form, read_form, visits_of
from tercet.song.form_slips import plain_name
from tercet.song.frame import Entry, Mapping, Node, Text, read_frame
from tercet.song.laws import check_laws
from tercet.song.mistakes import SONG_FILE, FileKind, MistakeBook, SlipError
from tercet.song.model import LEAD_INS, ROW_NAMES, TAG, Meter, Section, Song, Source, Visit
from tercet.song.names_in_file import names_in
from tercet.song.own_tracks import check_places, read_own_tracks
from tercet.song.plain_text import (
    LARGEST_FILE_BYTES,
    check_characters,
    note_too_large,
    read_text,
    split_lines,
)
from tercet.song.played import played_bars
from tercet.song.rows import BlockLine, take_apart
from tercet.song.section import SectionReader
from tercet.song.settings import SETTING_NAMES, read_settings, settings_as_meant
from tercet.song.styles import check_styles
from tercet.theory import Key, parse_key
from tercet.theory.note_names import meant_key

__all__ = ["SECTION_NAME", "open_book", "parse_song", "read_song", "section_parts"]

SECTION_NAME = re.compile(r"[^\W\d_][\w-]*")
_MOST_SECTIONS = 100


def read_song(path: str | Path) -> Song:
    """Read an arrangement file.

    Parameters
    ----------
    path
        The file; UTF-8, with or without a byte order mark, at most 64 kB.

    Returns
    -------
    Song
        Read and checked.

    Raises
    ------
    SongError
        With every mistake of the file.
    RequestError
        When there is no such file, or it can't be read.
    """
    return parse_song(read_text(Path(path)), str(path))


def parse_song(text: str, file: str = "song.yaml") -> Song:
    """Read the text of an arrangement file.

    Parameters
    ----------
    text
        What the file holds.
    file
        What to call it in messages.

    Returns
    -------
    Song
        Read and checked.

    Raises
    ------
    SongError
        With every mistake of the text.

    Examples
    --------
    >>> song = parse_song('''
    ... title: One bar
    ... sections:
    ...   verse: |
    ...     chords   C
    ...     melody   C4 E G C5
    ... ''')
    >>> [str(note.pitch) for note in song.section("verse").lines[0].rows[1].bars[0]]
    ['C4', 'E4', 'G4', 'C5']
    """
    book = open_book(text, file)
    top = settings_as_meant(read_frame(book, SETTING_NAMES), book)
    fields = read_settings(top, book)
    meter = _meter(top, fields, book)
    sections, broken = _read_sections(top, meter, _key(top, fields), book)
    form = _form(top, fields, [section.name for section in sections], book)
    tracks = read_own_tracks(_setting(top, "tracks"), _setting_place(top, "tracks"), book)
    song = Song(**{"title": "", **fields}, sections=sections, form=form, tracks=tracks)
    check_styles(song, book)
    places = {name: _value_place(top, name) for name in (*LEAD_INS, "ending")}
    can_be_played = check_form(song, book) and check_added(song, places, broken, book)
    if can_be_played and meter is not None and not book.full:
        check_laws(song, broken, book)
    if tracks and not book:
        check_places(tracks, played_bars(song), book)
    book.raise_if_any()
    return song


def open_book(text: str, file: str, kind: FileKind = SONG_FILE) -> MistakeBook:
    """Return the book of mistakes for a text; `SongError` when it is too large or isn't text."""
    lines = split_lines(text.removeprefix("\ufeff"))
    book = MistakeBook(file, lines, kind)
    if len(text) > LARGEST_FILE_BYTES:
        book.lines = []
        note_too_large(book)
    else:
        check_characters(lines, book)
    book.raise_if_any()
    return book


def _setting(top: Mapping, name: str) -> Node | None:
    return next((entry.value for entry in top.entries if entry.key.text == name), None)


def _setting_place(top: Mapping, name: str) -> Source:
    return next((entry.key.place for entry in top.entries if entry.key.text == name), Source(0, 0))


def _form(top: Mapping, fields: dict[str, Any], sections: list[str], book: MistakeBook) -> tuple[Visit, ...]:
    """Return the form; it may name what other settings add, and if that can't be read it is left out."""
    told = {TAG: "ending", **dict(zip(LEAD_INS, LEAD_INS, strict=True))}
    added = [name for name, setting in told.items() if _setting(top, setting) is not None]
    form = read_form(_setting(top, "form"), sections, added, book)
    playable = {*sections, *(name for name in LEAD_INS if fields.get(f"{name}_bars"))}
    return visits_of([visit.section for visit in form if visit.section in playable])


def _value_place(top: Mapping, name: str) -> Source:
    node = _setting(top, name)
    return Source(0, 0) if node is None else node.place


def _meter(top: Mapping, fields: dict[str, Any], book: MistakeBook) -> Meter | None:
    """Return the meter, and check the strum pattern against it; None when the meter can't be read."""
    node = _setting(top, "meter")
    meter: Meter = fields.get("meter", Meter(4, 4))
    if node is not None and "meter" not in fields:
        return None
    strum = _setting(top, "strum")
    if strum is not None and "strum" in fields:
        try:
            slots_fit(fields["strum"], meter)
        except SlipError as wrong:
            book.add_slip(wrong, strum.place, "strum")
    return meter


def _key(top: Mapping, fields: dict[str, Any]) -> Key | None:
    """Return the key as written, or as meant; None when there is none."""
    node = _setting(top, "key")
    meant = meant_key(node.text) if isinstance(node, Text) and "key" not in fields else ""
    return parse_key(meant) if meant else fields.get("key")


def _read_sections(
    top: Mapping, meter: Meter | None, key: Key | None, book: MistakeBook
) -> tuple[tuple[Section, ...], frozenset[str]]:
    """Return the sections, and the names of those of which nothing can be said as played."""
    sections: list[Section] = []
    broken: set[str] = set()
    found = list(section_parts(top, book))
    names = names_in((part for _, parts, _ in found for part in parts), key)
    for name, parts, place in found:
        reader = SectionReader(name, meter, book, names)
        sections.append(reader.read(parts, place))
        if book.full:
            raise book.error()
        if reader.broken:
            broken.add(name)
    return tuple(sections), frozenset(broken)


def section_parts(top: Mapping, book: MistakeBook) -> Iterator[tuple[str, list[BlockLine], Source]]:
    """Go through the sections: name, parts of its block (none when it has no block), and its place."""
    node = _setting(top, "sections")
    if node is None:
        return
    if not isinstance(node, Mapping) or not node.entries:
        book.add("sections need names", _setting_place(top, "sections"), "sections", _SECTIONS_MEND)
        return
    if len(node.entries) > _MOST_SECTIONS:
        book.add(f"a song must have at most {_MOST_SECTIONS} sections (got {len(node.entries)})", node.place)
        return
    names = {entry.key.text for entry in node.entries}
    for entry in node.entries:
        body = entry.value.body if isinstance(entry.value, Text) else ()
        book.tell_section(
            entry.key.text, entry.key.place.line, body[-1].number if body else entry.key.place.line
        )
        _check_name(entry, names, book)
        yield entry.key.text, _parts(entry, book), entry.key.place


def _check_name(entry: Entry, names: Collection[str], book: MistakeBook) -> None:
    name = entry.key.text
    if not SECTION_NAME.fullmatch(name) or len(name) > 40:
        plain = plain_name(name)
        free = plain if SECTION_NAME.fullmatch(plain) and plain not in names else None
        times = "times stand in the form, such as form: verse*2" if not plain else ""
        book.add(
            f"`{name[:40]}` can't be a section's name: it needs a letter first, then letters, digits, - or _",
            entry.key.place,
            mend="" if free else times or "give it a name of its own, such as verse",
            write=free,
        )


def _parts(entry: Entry, book: MistakeBook) -> list[BlockLine]:
    value = entry.value
    name = entry.key.text[:40]
    if isinstance(value, Text) and value.style == "|":
        return take_apart(value.body, book)
    if isinstance(value, Text) and value.style == ">":
        book.add(
            "the sign > makes one long line of the rows",
            value.place,
            write="|",
        )
        return take_apart(value.body, book) or [None]
    if isinstance(value, Text) and not value.text:
        book.add(
            f"`{name}` has no rows", entry.key.place, mend=f"write {name}: | and rows under it, further in"
        )
        return [None]
    rows = _rows_with_colons(entry)
    if rows:
        book.add(
            f"the rows of `{name}` stand in a block after |, and their names without colons",
            entry.key.place,
            mend=f"write {name}: |, and leave out the colons after the rows' names",
            edits=rows,
        )
        return [None]
    if name in ROW_NAMES:
        book.add(
            f"`{name}` is a row: it stands in the block of its section, without a colon",
            entry.key.place,
            mend="write `  verse: |` on a line above the rows, and the rows further in",
        )
        return [None]
    book.add(
        f"the rows of `{name}` must stand in a block",
        value.place,
        mend=f"write {name}: | and each row on a line of its own under it, further in, without quotes or colons",
    )
    return [None]


def _rows_with_colons(entry: Entry) -> tuple[Edit, ...]:
    """Return the edits that make a block of rows which are written like settings; none for anything else."""
    value, header = entry.value, entry.key.place
    if not isinstance(value, Mapping) or not value.entries:
        return ()
    for row in value.entries:
        plain = isinstance(row.value, Text) and not row.value.style and row.key.place.line > header.line
        if not plain or row.key.text not in ROW_NAMES:
            return ()
    after = header.column + header.width + 1
    colons = [(row.key.place.line, row.key.place.column + row.key.place.width) for row in value.entries]
    return (
        Edit(header.line, after, header.line, after, " |"),
        *(Edit(line, column, line, column + 1, "") for line, column in colons),
    )


_SECTIONS_MEND = "write sections: and under it a name with |, such as `  verse: |`, and its rows further in"
