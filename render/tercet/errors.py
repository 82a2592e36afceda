"""Everything that Tercet raises on purpose.

::

    TercetError
    ├── RequestError            the user's file or request has mistakes        exit code 1
    │   └── SongError           an arrangement file, with all its mistakes     exit code 1
    └── OutsideError            something outside is missing or failed         exit code 3
        ├── SynthesiserError    the FluidSynth library, which plays sound fonts
        ├── SoundFontError      a sound font
        ├── OutputError         a file or folder that can't be written
        └── WorkplaceError          processes or a cluster to run jobs on

``ParameterError`` is also a ``ValueError``: a caller of the Python functions passed a value out of range.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby
from textwrap import dedent
from typing import Any

from tercet.printable import visible, visible_line
from tercet.wording import counted

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
    "marked",
    "shown_mistakes",
]

_TAB = "\t"
_LONGEST_SHOWN = 110
"""Characters of a line; of a longer one the parts around the slips are shown."""


class TercetError(Exception):
    """Base of all errors that Tercet raises on purpose; the message says what, why and how to fix it."""

    exit_code = 1


class RequestError(TercetError):
    """The request can't be carried out as asked (a bar that isn't there, an unknown file ending).

    Parameters
    ----------
    *message
        What, why and how to fix it.
    given, meant
        A word of the request, and what was likely meant by it: a command is shown again with that in its place.
    """

    def __init__(self, *message: object, given: str = "", meant: str = "") -> None:
        super().__init__(*message)
        self.given, self.meant = given, meant


class OutsideError(TercetError):
    """Something outside Tercet is missing or failed."""

    exit_code = 3


class SynthesiserError(OutsideError):
    """The FluidSynth library, which plays sound fonts, is missing or refused to work."""


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
        Name of the row, with its passes, or of the setting (``melody 2``, ``tempo``), empty when there is none.
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
        What mends it, in the order of the file; none when only the writer can know. Those that reach beyond the line
        come with a mend in words.
    shown
        The part of the line that a person is shown, a bar or a whole setting: its first column and the one after its
        last; (0, 0) for the line without what is blank around it.
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
    shown: tuple[int, int] = (0, 0)

    @property
    def place(self) -> str:
        """Where it stands, as a person says it: ``line 7, verse, bar 3, melody``; empty for the whole file."""
        bar = {None: "", 0: "pick-up"}.get(self.bar, f"bar {self.bar}")
        line = f"line {self.line}" if self.line else ""
        return ", ".join(part for part in (line, self.section, bar, self.row) if part)

    def as_json(self) -> dict[str, Any]:
        """Return it for an editor: its place, its sentence, and the changes of the text that mend it."""
        told = ("line", "column", "width", "section", "bar", "row", "message", "mend")
        facts = {name: getattr(self, name) for name in told}
        return {**facts, "edits": [asdict(edit) for edit in self.edits]}


class SongError(RequestError):
    """An arrangement file with mistakes; all of them, in the order of the file.

    Parameters
    ----------
    file
        Its name as the user knows it.
    mistakes
        In any order.
    more
        Whether there may be more, because the rest of the file wasn't read.
    """

    def __init__(self, file: str, mistakes: tuple[Mistake, ...], *, more: bool = False) -> None:
        self.file = file
        self.mistakes = tuple(sorted(mistakes, key=lambda m: (m.line, m.column)))
        self.more = more
        count = len(mistakes)
        last = f"{counted(count, 'mistake')} in {visible_line(file)}"
        first = self.mistakes[0].place if mistakes else ""
        if first:
            last += f"; the first: {first}" if count > 1 else f": {first}"
        if more:
            last = f"there may be more; mend these first\n{last}"
        super().__init__(f"{shown_mistakes(self.mistakes)}\n{last}")


# ---- how mistakes are shown


def shown_mistakes(mistakes: Sequence[Mistake]) -> str:
    """Return mistakes as a person reads them: place and sentence, the music as it stands, what to write or do.

    Those of one bar, or of one setting, share what is shown.

    Parameters
    ----------
    mistakes
        In the order of the file.
    """
    groups = groupby(mistakes, key=lambda mistake: (mistake.line, mistake.shown, mistake.text))
    return "\n".join(_shown_together(list(group)) for _, group in groups)


def marked(text: str, marks: Iterable[tuple[int, int]]) -> str:
    """Return a text with parts of it between » and «, made shorter where it is long.

    Parameters
    ----------
    text
        One line.
    marks
        Start and end of each part, from 0; those that touch become one.

    Examples
    --------
    >>> marked("melody but nott bar 3", [(11, 15)])
    'melody but »nott« bar 3'
    """
    return _put_together(
        text, [(start, end, f"»{_shortened(text[start:end], 60)}«") for start, end in _joined(marks)]
    )


def _shown_together(mistakes: list[Mistake]) -> str:
    heads = (f"{m.place}: {m.message}" if m.place else m.message for m in mistakes)
    lines = list(dict.fromkeys(heads))
    text = mistakes[0].text
    if text.strip():
        edits = _on_the_line(mistakes)
        start, end = _span(mistakes, edits)
        slips = [(m.column - 1 - start, min(m.column - 1 + m.width, end) - start) for m in mistakes]
        lines.append(f"    now:    {_plain(marked(text[start:end], slips))}")
        changes = [(edit.column - 1 - start, edit.end_column - 1 - start, edit.text) for edit in edits]
        lines += _to_write(text[start:end], changes) if changes else []
    lines += [f"    how:    {mend}" for mend in dict.fromkeys(m.mend for m in mistakes if m.mend)]
    return "\n".join(lines)


def _to_write(text: str, changes: list[tuple[int, int, str]]) -> list[str]:
    first, *more = _plain(dedent(_put_together(text, changes))).split("\n")
    if not first and not more:
        return ["    how:    leave it out"]
    return [f"    write:  {first}", *(f"            {line}" for line in more)]


def _plain(text: str) -> str:
    return visible(text).replace(_TAB, " ").strip()


def _on_the_line(mistakes: list[Mistake]) -> list[Edit]:
    """Return the edits that what is shown can hold, each stretch of the line once; what nobody can know is a gap."""
    number = mistakes[0].line
    wanted = {edit for mistake in mistakes if not mistake.mend for edit in mistake.edits}
    gaps = {
        Edit(number, mistake.column, number, mistake.column + mistake.width, "…")
        for mistake in mistakes
        if not mistake.edits
    }
    edits: list[Edit] = []
    for edit in sorted(wanted | gaps if wanted else (), key=lambda edit: (edit.column, edit.end_column)):
        if edits and edit.column < edits[-1].end_column:
            if edit in gaps or edits[-1] in gaps:
                return []
        elif edit.line == edit.end_line == number:
            edits.append(edit)
    return edits


def _span(mistakes: list[Mistake], edits: list[Edit]) -> tuple[int, int]:
    """Return where the part of the line that is shown starts and ends, from 0: it holds all slips and edits."""
    text = mistakes[0].text
    first, after = mistakes[0].shown
    start, end = (first - 1, after - 1) if after else (len(text) - len(text.lstrip()), len(text.rstrip()))
    starts = [m.column - 1 for m in mistakes] + [edit.column - 1 for edit in edits]
    ends = [edit.end_column - 1 for edit in edits]
    return min([start, *starts]), max([end, *ends])


def _joined(marks: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for start, end in sorted((max(start, 0), max(end, start, 0)) for start, end in marks):
        if joined and start <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end)
        else:
            joined.append((start, end))
    return joined


def _put_together(text: str, changes: list[tuple[int, int, str]]) -> str:
    """Return the text with other words from each start to each end; a long one loses what stands far from them."""
    longest = 40 if len(text) > _LONGEST_SHOWN else len(text)
    parts: list[str] = []
    at = 0
    for start, end, by in changes:
        before = text[at:start]
        parts += [_shortened(before, longest, keep_start=bool(parts)), by]
        at = end
    rest = text[at:]
    parts.append(rest if len(rest) <= longest else f"{rest[:longest]}…")
    return "".join(parts)


def _shortened(text: str, longest: int, *, keep_start: bool = True) -> str:
    if len(text) <= longest:
        return text
    half = longest // 2
    return f"{text[:half]}…{text[-half:]}" if keep_start else f"…{text[-longest:]}"
