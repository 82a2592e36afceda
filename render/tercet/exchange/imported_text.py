"""The file that an import leaves: the song, and above it everything that was dropped, guessed or changed."""

from __future__ import annotations

import re
import textwrap
from dataclasses import replace

from tercet.errors import SongError
from tercet.exchange.harmonise import harmonised
from tercet.exchange.keys import key_of_tune
from tercet.exchange.leadsheet import LeadSheet, TuneError
from tercet.exchange.songs import Imported, song_of
from tercet.song import Song
from tercet.song.reader import parse_song
from tercet.song.settings import SETTINGS
from tercet.song.writer import write_song

__all__ = ["KEPT_SETTINGS", "PROPOSED", "imported_text"]

PROPOSED = "# chords: proposed by Tercet"
"""What stands above chords that the file didn't have."""

KEPT_SETTINGS = (
    "instrument", "tuning", "players", "dynamics", "front", "feel", "strum", "between", "swing", "count-in",
)  # fmt: skip
"""Settings of a song that travel in an exported file; `sound` may name a file, so it stays at home."""

_WIDTH = 100
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
    if harmonise:
        clean = harmonised(clean, clean.key or key_of_tune(clean.notes)[0])
    imported = song_of(clean)
    text = _text(imported, clean.settings, origin)
    if harmonise and not any(chord.chord for measure in sheet.measures for chord in measure.chords):
        text = _with_proposals_marked(text)
    try:
        song = parse_song(text)
    except SongError as error:
        if not clean.settings:
            raise TuneError(
                f"{origin}: the tune can't be written as a song: {error.mistakes[0].message}"
            ) from error
        changed = Imported(
            imported.song, (*imported.remarks, "settings in the file can't be read and are left out")
        )
        return _finished(changed, origin)
    return text, song, imported.remarks


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


def _finished(imported: Imported, origin: str) -> tuple[str, Song, tuple[str, ...]]:
    text = _text(imported, (), origin)
    return text, parse_song(text), imported.remarks


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
        if name in KEPT_SETTINGS and _PLAIN.fullmatch(value)
    ]
    names = {line.partition(":")[0] for line in kept}
    lines = [line for line in body.split("\n") if line.partition(":")[0] not in names]
    place = lines.index("sections:")
    order = [setting.name for setting in SETTINGS]
    head = sorted([*lines[:place], *kept], key=lambda line: order.index(line.partition(":")[0]))
    return "\n".join([*comments, *head, *lines[place:]])
