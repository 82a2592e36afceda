"""Gathering the mistakes of a file, so that all of them are shown in one go."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from tercet.errors import Edit, Mistake, SongError
from tercet.printable import visible
from tercet.song.model import Source

__all__ = [
    "CLASS_FILE",
    "MOST_MISTAKES",
    "SONG_FILE",
    "FileKind",
    "MistakeBook",
    "SlipError",
    "nearest",
    "show_beats",
]

MOST_MISTAKES = 100
"""After so many the rest of the file isn't read: a page of them helps nobody."""

_LONGEST_LINE_SHOWN = 200
_WHOLE_FILE = Source(0, 0)


@dataclass(frozen=True, slots=True)
class FileKind:
    """What messages call a kind of file.

    Parameters
    ----------
    one, many
        One of it, and several.
    holds
        What it is about.
    first
        The name of the setting that it starts with.
    start, new
        How to begin one: as a mend of an empty file, and of something that isn't text.
    apart
        What to do with more than one.
    """

    one: str
    many: str
    holds: str
    first: str
    start: str
    new: str
    apart: str


SONG_FILE = FileKind(
    "an arrangement file",
    "arrangement files",
    "a song",
    "title",
    "`tercet new SONG.yaml` writes a starter song to edit",
    "`tercet new SONG.yaml` writes one to start from",
    "give each song a file of its own",
)
CLASS_FILE = FileKind(
    "a class file",
    "class files",
    "a class",
    "name",
    "write for instance `name: Tuesday class`",
    "it begins for instance with `name: Tuesday class`",
    "give each class a folder of its own",
)


class SlipError(Exception):
    """A value or word that can't be read: what is wrong and how to mend it. Never leaves `tercet.song`.

    Parameters
    ----------
    message, mend
        As in `tercet.errors.Mistake`.
    place
        Where it stands when that is narrower than the value as a whole.
    write
        What takes the place of the slip's whole span, to the letter; None when nobody but the writer can know.
    """

    def __init__(
        self, message: str, mend: str = "", place: Source | None = None, *, write: str | None = None
    ) -> None:
        super().__init__(message)
        self.message = message
        self.mend = mend
        self.place = place
        self.write = write


class MistakeBook:
    """The mistakes found so far in one file.

    Parameters
    ----------
    file
        Its name as the user knows it.
    lines
        Its lines, to be shown with the mistakes.
    kind
        What kind of file it is.
    """

    def __init__(self, file: str, lines: list[str], kind: FileKind = SONG_FILE) -> None:
        self.file = file
        self.lines = lines
        self.kind = kind
        self._mistakes: dict[tuple[int, int, str], Mistake] = {}

    def __len__(self) -> int:
        return len(self._mistakes)

    @property
    def full(self) -> bool:
        """Whether reading on would help nobody."""
        return len(self._mistakes) >= MOST_MISTAKES

    def add(
        self,
        message: str,
        place: Source = _WHOLE_FILE,
        row: str = "",
        mend: str = "",
        *,
        write: str | None = None,
        edits: tuple[Edit, ...] = (),
    ) -> None:
        """Note a mistake; the same one at the same place counts once.

        Parameters
        ----------
        message, row, mend, edits
            As in `tercet.errors.Mistake`.
        place
            Where the slip stands, from its first character to its last.
        write
            What takes the place of the whole span, to the letter: an edit more.
        """
        text = self.lines[place.line - 1] if 0 < place.line <= len(self.lines) else ""
        shown = visible(text)
        column = (
            min(place.column, len(text) + 1) if text else place.column
        )  # YAML sees signs that were left out
        if len(shown) > _LONGEST_LINE_SHOWN:
            shown = shown[: _LONGEST_LINE_SHOWN - 1] + "…"
        width = max(min(place.width, len(shown) - column + 1), 1)
        if write is not None:
            edits = (*edits, Edit(place.line, place.column, place.line, place.column + place.width, write))
        mistake = Mistake(visible(message), place.line, column, row, visible(mend), shown, width, edits=edits)
        self._mistakes.setdefault((place.line, column, message), mistake)

    def raise_if_any(self) -> None:
        """Raise `SongError` with everything noted, if anything was."""
        if self._mistakes:
            raise self.error()

    def error(self) -> SongError:
        """Return everything noted as an error."""
        found = sorted(self._mistakes.values(), key=lambda mistake: (mistake.line, mistake.column))
        if self.full:
            found = found[:MOST_MISTAKES]
            found.append(Mistake("there may be more; fix these first", found[-1].line, found[-1].column))
        return SongError(self.file, tuple(found))


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word that looks most like `word`, capitals aside, or an empty text."""
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(word[:40].casefold(), list(folded), n=1, cutoff=0.6)
    return folded[close[0]] if close else ""


def show_beats(length_beat: Fraction) -> str:
    """Return a length as people say it: ``"1 beat"``, ``"3 1/2 beats"``, ``"1/3 beat"``."""
    if length_beat.denominator > 999:
        return f"about {float(length_beat):.3f} beats"
    whole, rest = divmod(length_beat, 1)
    parts = [str(part) for part in (whole, rest) if part]
    return f"{' '.join(parts) or '0'} beat{'s' if length_beat > 1 or not length_beat else ''}"
