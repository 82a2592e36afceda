"""The file that an import leaves: the song, and above it everything that was dropped, guessed or changed."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Collection
from dataclasses import replace

from tercet.errors import SongError
from tercet.exchange.harmonise import harmonised, key_of_tune
from tercet.exchange.leadsheet import LeadSheet, TuneError
from tercet.exchange.songs import Imported, song_of
from tercet.exchange.writing import READ_SETTINGS
from tercet.song import Line, Row, Song
from tercet.song.plain_text import LONGEST_LINE
from tercet.song.reader import parse_song
from tercet.song.settings import SETTINGS
from tercet.song.writer import write_song
from tercet.wording import listed

__all__ = ["PROPOSED", "imported_text"]

PROPOSED = "# chords: proposed by Tercet"
"""What stands above chords that the file didn't have."""

_WIDTH = 100
_LONGEST_WRITTEN = LONGEST_LINE - 100
_PLAIN = re.compile(r"[^\x00-\x1f\x7f-\x9f\u2028\u2029]{1,300}")


def imported_text(
    sheet: LeadSheet, origin: str, *, harmonise: bool = False
) -> tuple[str, Song, tuple[str, ...]]:
    """Return the text of a song file made of a lead sheet, the song it reads as, and the remarks.

    Parameters
    ----------
    sheet
        What was read.
    origin
        The name of the file it came from.
    harmonise
        Whether to propose chords for a tune that has none.

    Raises
    ------
    TuneError
        When it can't be a song: no notes, too long, too many notes in a bar.
    """
    clean = _clean_texts(sheet)
    if harmonise and not clean.without_tune:
        clean = harmonised(clean, clean.key or key_of_tune(clean.notes)[0])
    imported = _with_short_lines(song_of(clean))
    proposed = (
        harmonise
        and not sheet.without_tune
        and not any(chord.chord for measure in sheet.measures for chord in measure.chords)
    )
    settings = clean.settings
    while True:
        text = _text(imported, settings, origin)
        if proposed:
            text = _with_proposals_marked(text)
        try:
            return text, parse_song(text), imported.remarks
        except SongError as error:
            if not settings:
                raise TuneError(
                    f"{origin}: the tune can't be written as a song: {error.mistakes[0].message}"
                ) from error
            imported, settings = _without_wrong(imported, settings, {each.row for each in error.mistakes})


def _without_wrong(
    imported: Imported, settings: tuple[tuple[str, str], ...], wrong: Collection[str]
) -> tuple[Imported, tuple[tuple[str, str], ...]]:
    """Return the settings without those that are told as mistakes, or without all where none is, and what is said."""
    kept = tuple(each for each in settings if each[0] not in wrong)
    if len(kept) == len(settings):
        kept = ()
    dropped = [f"`{name}`" for name, text in settings if (name, text) not in kept]
    verbs = ("doesn't", "is") if len(dropped) == 1 else ("don't", "are")
    said = f"{listed(dropped)} in the file {verbs[0]} fit this song and {verbs[1]} left out"
    return replace(imported, remarks=(*imported.remarks, said)), kept


def _with_short_lines(imported: Imported) -> Imported:
    """Return the song with lines of music divided until all lines of its text are short enough to be read."""
    song = imported.song
    while any(len(line) > _LONGEST_WRITTEN for line in write_song(song).split("\n")):
        halved = replace(
            song,
            sections=tuple(
                replace(section, lines=tuple(half for line in section.lines for half in _halves(line)))
                for section in song.sections
            ),
        )
        if halved == song:
            break
        song = halved
    return replace(imported, song=song)


def _halves(line: Line) -> tuple[Line, ...]:
    """Return a line of music as two, if it has two bars or more."""
    middle = len(line.rows[0].bars) // 2
    if not middle:
        return (line,)
    first = tuple(replace(row, bars=row.bars[:middle]) for row in line.rows)
    second = tuple(replace(row, bars=row.bars[middle:], pickup=None) for row in line.rows)
    return tuple(Line(tuple(filter(_says_something, rows))) for rows in (first, second))


def _says_something(row: Row) -> bool:
    return row.pickup is not None or any(cell is not None for cell in row.bars)


def _with_proposals_marked(text: str) -> str:
    """Return a song's text with a comment above the first chords of every section."""
    lines: list[str] = []
    marked = True
    for line in text.split("\n"):
        if line.endswith(": |"):
            marked = False
        if not marked and line.split()[:1] == ["chords"]:
            lines.append(f"{line[: len(line) - len(line.lstrip())]}{PROPOSED}")
            marked = True
        lines.append(line)
    return "\n".join(lines)


def _clean_texts(sheet: LeadSheet) -> LeadSheet:
    return replace(
        sheet,
        title=_one_line(sheet.title) or "Untitled",
        composer=_one_line(sheet.composer),
        source_note=_one_line(sheet.source_note),
        licence=_one_line(sheet.licence),
        remarks=tuple(map(_one_line, sheet.remarks)),
    )


def _one_line(text: str) -> str:
    """Return a text that fits a setting or a comment: one line, nothing that can't be seen."""
    seen = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(seen.split())[:200]


def _text(imported: Imported, settings: tuple[tuple[str, str], ...], origin: str) -> str:
    comments = [f"# Imported from {_one_line(origin)}."]
    if imported.remarks:
        comments[0] += " What was dropped, guessed or changed on the way:"
    for remark in imported.remarks:
        comments += textwrap.wrap(
            _one_line(remark), _WIDTH, initial_indent="# - ", subsequent_indent="#   ", break_long_words=False
        )
    body = write_song(imported.song)
    kept = [
        f"{name}: {value}"
        for name, value in dict(settings).items()
        if name in READ_SETTINGS and _PLAIN.fullmatch(value)
    ]
    names = {line.partition(":")[0] for line in kept}
    lines = body.split("\n")
    place = lines.index("sections:")
    written = [each for each in _settings(lines[:place]) if each.partition(":")[0] not in names]
    order = [setting.name for setting in SETTINGS]
    head = sorted([*written, *kept], key=lambda each: order.index(each.partition(":")[0]))
    return "\n".join([*comments, *head, *lines[place:]])


def _settings(lines: list[str]) -> list[str]:
    """Return the settings of a head, each with the lines that it goes on in."""
    settings: list[str] = []
    for line in lines:
        if line.startswith(" "):
            settings[-1] += f"\n{line}"
        else:
            settings.append(line)
    return settings
