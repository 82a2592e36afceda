"""What every export of a song needs: settings that travel along, and a writer that knows what it couldn't say."""

from __future__ import annotations

from collections.abc import Iterator

from tercet.song import Bar, Measure, Note, Song
from tercet.song.settings import SETTINGS
from tercet.theory import Pitch, spell, tuning_of

__all__ = ["KEPT_SETTINGS", "READ_SETTINGS", "TuneWriter", "kept_settings", "row_names"]

KEPT_SETTINGS = (
    "instrument", "tuning", "players", "dynamics", "front", "feel", "rit", "strum", "between", "second", "style",
    "swing", "count-in",
)  # fmt: skip
"""Settings of a song that travel in an exported file; `sound` may name a file, so it stays at home."""

READ_SETTINGS = (*KEPT_SETTINGS, "sounding")
"""Those that a file may bring: what is exported is moved already, and ``{capo}`` of others says by how much."""


def kept_settings(song: Song) -> Iterator[tuple[str, str]]:
    """Yield name and text of the settings that travel."""
    for setting in SETTINGS:
        value = setting.write(song)
        if setting.name in KEPT_SETTINGS and value:
            yield setting.name, value


def row_names(song: Song) -> set[str]:
    """Return the names of the rows that a song has."""
    return {row.name for section in song.sections for line in section.lines for row in line.rows}


class TuneWriter:
    """Writes the tune of a song as played; `bars` are the song's."""

    def __init__(self, song: Song, bars: tuple[Bar, ...]) -> None:
        self._song = song
        self._strings = tuning_of(song.tuning)
        self._tied = False
        self._lost: dict[str, list[str]] = {}
        self._breaths = {
            bar.start_beat + mark.at_beat for bar in bars for mark in bar.marks if mark.kind == "breath"
        }

    def remarks(self) -> Iterator[str]:
        """Yield what couldn't be said, with the bars."""
        for what, places in self._lost.items():
            yield f"{what}: bar {', '.join(dict.fromkeys(places))}"

    def _lose(self, what: str, piece: Measure) -> None:
        self._lost.setdefault(what, []).append(str(piece.bar.number))

    def _pitch_of(self, note: Note) -> Pitch | None:
        """Return the pitch of a note, also of one that is written as string and fret."""
        if note.pitch is not None or note.position is None:
            return note.pitch
        return spell(self._strings.midi(*note.position), self._song.key)
