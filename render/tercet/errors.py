"""Everything that Tercet raises on purpose.

::

    TercetError
    ├── RequestError            the user's file or request has mistakes        exit code 1
    │   └── SongError           an arrangement file, with all its mistakes     exit code 1
    └── OutsideError            something outside is missing or failed         exit code 3
        ├── SynthesiserError    the FluidSynth library
        ├── SoundFontError      a sound font
        ├── OutputError         a file or folder that can't be written
        └── WorkplaceError          processes or a cluster to run jobs on

``ParameterError`` is also a ``ValueError``: a caller of the Python functions passed a value out of range.
"""

from __future__ import annotations

from dataclasses import dataclass

from tercet.printable import visible_line

__all__ = [
    "Edit",
    "Mistake",
    "OutputError",
    "OutsideError",
    "ParameterError",
    "RequestError",
    "SongError",
    "SoundFontError",
    "SynthesiserError",
    "TercetError",
    "WorkplaceError",
]


class TercetError(Exception):
    """Base of all errors that Tercet raises on purpose; the message says what, why and how to fix it."""

    exit_code = 1


class RequestError(TercetError):
    """The request can't be carried out as asked (a bar that isn't there, an unknown file ending)."""


class OutsideError(TercetError):
    """Something outside Tercet is missing or failed."""

    exit_code = 3


class SynthesiserError(OutsideError):
    """The FluidSynth library is missing or refused to work."""


class SoundFontError(OutsideError):
    """A sound font is missing, damaged or lacks the sound that was asked for."""


class OutputError(OutsideError):
    """A file or folder can't be written; nothing half written is left."""


class WorkplaceError(OutsideError):
    """The processes or the cluster on which jobs should run aren't there, or have gone."""


class ParameterError(TercetError, ValueError):
    """A value passed to a function is out of its range; the message reads «must be … (got …)»."""


@dataclass(frozen=True, slots=True)
class Edit:
    """A change to the text of a file that mends a mistake, or a part of one.

    What stands from (`line`, `column`) up to (`end_line`, `end_column`), the end not included, gives way to `text`,
    which may hold line ends. Lines and columns count from 1.
    """

    line: int
    column: int
    end_line: int
    end_column: int
    text: str


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in an arrangement file, with its place and its mend.

    Parameters
    ----------
    message
        What is wrong, in one sentence.
    line, column
        Place in the file, both counted from 1; 0 when the mistake belongs to the whole file.
    row
        Name of the row or setting (``melody``, ``tempo``), empty when there is none.
    mend
        How to mend it, in a sentence for a person; empty when the message or the edits already say it.
    text
        The line of the file as it stands.
    width
        How many characters the slip has, at least 1.
    section
        Name of the section it stands in, empty when there is none.
    bar
        Number of the bar in that section, from 1; 0 is the pick-up, None when it isn't in a bar.
    edits
        What mends it, in the order of the file; none when only the writer can know.
    """

    message: str
    line: int = 0
    column: int = 0
    row: str = ""
    mend: str = ""
    text: str = ""
    width: int = 1
    section: str = ""
    bar: int | None = None
    edits: tuple[Edit, ...] = ()

    def show(self, file: str) -> str:
        """Return the mistake as a person reads it: place, sentence, the line with a caret, the mend."""
        place = ":".join([file, *(str(number) for number in (self.line, self.column) if number)])
        head = f"{place}: {self.row + ': ' if self.row else ''}{self.message}"
        lines = [head]
        if self.text:
            gutter = f"{self.line:>5} | "
            tabs_kept = "".join("\t" if c == "\t" else " " for c in self.text[: max(self.column - 1, 0)])
            lines.append(gutter + self.text)
            lines.append(" " * (len(gutter) - 2) + "| " + tabs_kept + "^" * max(self.width, 1))
        mend = self.mend or ", and ".join(
            f"write {edit.text}" if edit.text else "leave it out" for edit in self.edits
        )
        if mend:
            lines.append(f"      fix: {mend}")
        return "\n".join(lines)


class SongError(RequestError):
    """An arrangement file with mistakes; all of them, in the order of the file."""

    def __init__(self, file: str, mistakes: tuple[Mistake, ...]) -> None:
        self.file = file
        self.mistakes = tuple(sorted(mistakes, key=lambda m: (m.line, m.column)))
        count = len(mistakes)
        name = visible_line(file)
        shown = "\n".join(mistake.show(name) for mistake in self.mistakes)
        super().__init__(f"{shown}\n{count} mistake{'s' if count != 1 else ''} in {name}")
