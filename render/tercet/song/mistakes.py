"""Gathering the mistakes of a file, so that all of them are shown in one go."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.errors import Edit, Mistake, SongError
from tercet.printable import visible
from tercet.song.model import Source
from tercet.wording import lookalikes

__all__ = [
    "CLASS_FILE",
    "MOST_MISTAKES",
    "SONG_FILE",
    "FileKind",
    "MistakeBook",
    "SlipError",
    "meant_word",
    "show_beats",
]

MOST_MISTAKES = 100
"""After so many the rest of the file isn't read: a page of them helps nobody."""

_SURELY_ALIKE = 0.75
"""Part of the letters that two words share; `opn` and `open` share 6 of 7."""

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
    edits
        Other changes that mend it.
    """

    def __init__(
        self,
        message: str,
        mend: str = "",
        place: Source | None = None,
        *,
        write: str | None = None,
        edits: tuple[Edit, ...] = (),
    ) -> None:
        super().__init__(message)
        self.message = message
        self.mend = mend
        self.place = place
        self.write = write
        self.edits = edits

    def put(self, message: str = "", place: Source | None = None) -> SlipError:
        """Return the same slip with another message, and with a place where it has none."""
        return SlipError(
            message or self.message, self.mend, self.place or place, write=self.write, edits=self.edits
        )


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
        self._sections: list[tuple[int, int, str]] = []
        self._bars: dict[int, list[_BarOfRow]] = {}

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
        text = visible(self.lines[place.line - 1]) if 0 < place.line <= len(self.lines) else ""
        column = (
            min(place.column, len(text) + 1) if text else place.column
        )  # YAML sees signs that were left out
        width = max(min(place.width, len(text) - column + 1), 1)
        if write is not None:
            edits = (*edits, Edit(place.line, place.column, place.line, place.column + place.width, write))
        mistake = Mistake(visible(message), place.line, column, row, visible(mend), text, width, edits=edits)
        self._mistakes.setdefault((place.line, column, message), mistake)

    def add_slip(self, slip: SlipError, place: Source, row: str = "") -> None:
        """Note what was raised; `place` is where it stands if it has no place of its own."""
        at = slip.place or place
        self.add(slip.message, at, row, slip.mend, write=slip.write, edits=slip.edits)

    def tell_section(self, name: str, first_line: int, last_line: int) -> None:
        """Learn which lines of the file are a section's, so that its mistakes are told by its name."""
        self._sections.append((first_line, last_line, name))

    def tell_bar(self, number: int, row: str, place: Source, *, empty: bool = False) -> None:
        """Learn where a bar of a row stands, so that its mistakes are told by its number.

        Parameters
        ----------
        number
            Its number in the section, from 1; 0 is the pick-up.
        row
            The row's name and passes.
        place
            From its first word to its last, or where it would begin.
        empty
            Whether nothing stands in it.
        """
        self._bars.setdefault(place.line, []).append(_BarOfRow(number, row, place, empty))

    def raise_if_any(self) -> None:
        """Raise `SongError` with everything noted, if anything was."""
        if self._mistakes:
            raise self.error()

    def error(self) -> SongError:
        """Return everything noted as an error."""
        found = sorted(self._mistakes.values(), key=lambda mistake: (mistake.line, mistake.column))
        placed = tuple(self._placed(mistake) for mistake in found[:MOST_MISTAKES])
        return SongError(self.file, placed, more=self.full)

    def _placed(self, mistake: Mistake) -> Mistake:
        """Return a mistake with its section and bar."""
        section = next((name for first, last, name in self._sections if first <= mistake.line <= last), "")
        bar = next((bar for bar in self._bars.get(mistake.line, ()) if bar.holds(mistake.column)), None)
        if bar is None:
            return replace(mistake, section=section)
        shown = (0, 0) if bar.empty else (bar.place.column, bar.place.column + bar.place.width)
        return replace(mistake, section=section, bar=bar.number, row=bar.row, shown=shown)


@dataclass(frozen=True, slots=True)
class _BarOfRow:
    """Where a bar of a row stands."""

    number: int
    row: str
    place: Source
    empty: bool

    def holds(self, column: int) -> bool:
        """Return whether a column is one of this bar's."""
        return self.place.column <= column < self.place.column + self.place.width


def meant_word(word: str, known: Iterable[str]) -> str:
    """Return the known word that a misspelt one surely means, or an empty text: ``beginer`` is one, ``slower`` none.

    Examples
    --------
    >>> meant_word("beginer", ("beginner", "free")), meant_word("slower", ("softer", "louder"))
    ('beginner', '')
    """
    return next(iter(lookalikes(word, known, alike=_SURELY_ALIKE)), "")


def show_beats(length_beat: Fraction) -> str:
    """Return a length as people say it: ``"1 beat"``, ``"3 1/2 beats"``, ``"1/3 beat"``."""
    if length_beat.denominator > 999:
        return f"about {float(length_beat):.3f} beats"
    whole, rest = divmod(length_beat, 1)
    parts = [str(part) for part in (whole, rest) if part]
    return f"{' '.join(parts) or '0'} beat{'s' if length_beat > 1 or not length_beat else ''}"
