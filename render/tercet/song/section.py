"""From written rows to a section: lines of music whose rows have the same bars, and their pick-up."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from tercet.errors import Edit
from tercet.song.cells import CellReader, Items, Room, bar_lines_missing, guessed_length, guessed_lengths
from tercet.song.mistakes import MistakeBook
from tercet.song.model import Line, Meter, Row, RowName, Section, Source
from tercet.song.rows import BlockLine, Cell, Comment, WrittenRow
from tercet.song.rows_apart import lines_that_belong_together
from tercet.song.slips import Around
from tercet.wording import counted

__all__ = ["SectionReader", "lines_of"]

_MANY = 1000
_TIMED: tuple[RowName, ...] = ("melody", "between", "chords")


def lines_of(parts: list[BlockLine]) -> list[list[WrittenRow | None]]:
    """Group the parts of a block into lines of music: rows without a blank line between them."""
    lines: list[list[WrittenRow | None]] = [[]]
    for part in parts:
        if isinstance(part, WrittenRow) or part is None:
            lines[-1].append(part)
        elif not isinstance(part, Comment) and lines[-1]:
            lines.append([])
    return [line for line in lines if line]


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way to tell a row's bars apart: how many, how many cells stand before them, and empty bars after."""

    bars: int
    lead: int
    trail: int


class SectionReader:
    """Reads one section's rows.

    Parameters
    ----------
    name
        The section's name.
    meter
        The song's meter; None when that couldn't be read, and then only the words are checked.
    book
        Where mistakes are noted.
    names
        How the file names its notes.
    """

    def __init__(self, name: str, meter: Meter | None, book: MistakeBook, names: Around) -> None:
        self._name = name
        self._meter = meter
        self._book = book
        self._cells = CellReader(meter, book, names)
        self._pickup_beat = Fraction(0)
        self._last_bar_line_is_open = False
        self._bars_before = 0
        self._lacking: dict[Source, int] = {}
        self._last_line = 0
        self.broken = meter is None
        """Whether bars can't be told apart, so that nothing can be said about the section as played."""

    def read(self, parts: list[BlockLine], place: Source) -> Section:
        """Return the section; its mistakes are in the book."""
        written = self._together(lines_of(parts))
        if not written:
            self._book.add(f"`{self._name}` has no rows", place, mend="write at least the row chords")
            self.broken = True
        self._last_line = len(written) - 1
        lines = tuple(self._line(index, rows) for index, rows in enumerate(written))
        section = Section(self._name, lines, self._pickup_beat)
        if not self.broken and not self._book.full:
            self._check_chords(section, place)
        return section

    def _together(self, lines: list[list[WrittenRow | None]]) -> list[list[WrittenRow | None]]:
        """Return the lines of music as they are meant; note blank lines between rows that belong together."""
        known = [[row for row in line if row is not None] for line in lines]
        if any(len(rows) < len(line) for rows, line in zip(known, lines, strict=True)):
            return lines
        meant: list[list[WrittenRow | None]] = []
        for group in lines_that_belong_together(known, self._agree):
            for above, below in pairwise(group):
                self._note_blank(above, below)
            meant.append([row for line in group for row in line])
        return meant

    def _agree(self, index: int, rows: list[WrittenRow]) -> bool:
        """Return whether rows can have equally many bars."""
        if not all(row.cells for row in rows):
            return False
        if index == 0:
            self._pickup_beat = self._find_pickup(rows)
        return self._common_count(index, rows) is not None

    def _note_blank(self, above: list[WrittenRow], below: list[WrittenRow]) -> None:
        """Note the blank lines between rows that belong together."""
        between = range(above[-1].place.line + 1, below[0].place.line)
        blank = [number for number in between if not self._book.lines[number - 1].strip()]
        names = list(dict.fromkeys(row.label for row in below))
        after = "; if the tune is to come after the chords, write chords in its line, too"
        below_names = " and ".join(names)
        self._book.add(
            f"a blank line starts a new line of music: as it stands, {below_names} would follow "
            f"{above[0].name}, not sound with it",
            below[0].place,
            mend=f"take the blank line above away{after if 'melody' in names else ''}",
            edits=tuple(Edit(number, 1, number + 1, 1, "") for number in blank),
        )

    # ---- a line of music

    def _line(self, index: int, found: list[WrittenRow | None]) -> Line:
        rows = [row for row in found if row is not None]
        if len(rows) < len(found):
            self.broken = True
        self._check_names(rows)
        timed = [row for row in rows if row.name in _TIMED]
        self._lacking = {row.place: _MANY for row in timed} if len(rows) == 1 else {}
        if index == 0:
            self._pickup_beat = self._find_pickup(rows)
        count = self._count_bars(index, rows)
        if count is None:
            self.broken = True
        line = Line(tuple(self._row(index, row, count) for row in rows))
        self._bars_before += self._usual_count(index, rows) if count is None else count
        return line

    def _check_names(self, rows: list[WrittenRow]) -> None:
        """Note rows of a line that are there twice, and passes that two rows claim."""
        first: dict[tuple[RowName, int], WrittenRow] = {}
        for row in rows:
            for number in row.passes or (0,):
                before = first.setdefault((row.name, number), row)
                if before is row:
                    continue
                label = row.name if not number else f"{row.name} {'last' if number < 0 else number}"
                self._book.add(
                    f"this line of music already has the row {label} (on line {before.place.line})",
                    row.place,
                    row.name,
                    "leave a blank line where the next line of music begins, or name the pass: "
                    f"{row.name} {max(number, 1) + 1}",
                )

    def _find_pickup(self, rows: list[WrittenRow]) -> Fraction:
        """Return the length of the section's pick-up: a timed first cell that is shorter than a bar."""
        if self._meter is None:
            return Fraction(0)
        for name in _TIMED:
            for row in sorted(rows, key=lambda row: bool(row.passes)):
                if row.name != name or row.opening or not row.cells:
                    continue
                total = guessed_length(row.cells[0], name)
                if total is None:
                    continue
                return total if total < self._meter.bar_beat and len(row.cells) > 1 else Fraction(0)
        return Fraction(0)

    def _count_bars(self, index: int, rows: list[WrittenRow]) -> int | None:
        """Return how many bars the line has; None, and a mistake, when its rows don't agree."""
        empty = [row for row in rows if not row.cells]
        for row in empty:
            self._book.add(
                "nothing stands in this row", row.place, row.name, "write its bars, or leave it out"
            )
        if empty or not rows:
            return None
        count = self._common_count(index, rows)
        if count is None:
            self._note_counts(rows, self._options(index, rows))
        return count

    def _common_count(self, index: int, rows: list[WrittenRow]) -> int | None:
        """Return how many bars all rows have; None when they don't agree."""
        self._last_bar_line_is_open = _is_open(rows)
        options = self._options(index, rows)
        wanted = (count for count in _most_wanted(options) if count > 0)
        return next((count for count in wanted if all(count in option for option in options)), None)

    def _options(self, index: int, rows: list[WrittenRow]) -> list[tuple[int, ...]]:
        return [tuple(reading.bars for reading in self._readings(index, row)) for row in rows]

    def _usual_count(self, index: int, rows: list[WrittenRow]) -> int:
        """Return how many bars most rows of a line have."""
        options = [tuple(reading.bars for reading in self._readings(index, row)) for row in rows if row.cells]
        return _most_wanted(options)[0] if options else 0

    def _note_counts(self, rows: list[WrittenRow], options: list[tuple[int, ...]]) -> None:
        """Note the rows whose number of bars isn't that of most rows."""
        usual = _most_wanted(options)[0]
        self._lacking = {row.place: usual - option[0] for row, option in zip(rows, options, strict=True)}
        counts = ", ".join(
            f"{row.label} has {usual if usual in option else option[0]}"
            for row, option in zip(rows, options, strict=True)
        )
        for row, option in zip(rows, options, strict=True):
            more = option[0] - usual
            if usual in option:
                continue
            lines = self._lines_missing(row)
            certain = lines if len(lines) == -more else ()
            mend = (
                f"{'take away' if more > 0 else 'add'} {counted(abs(more), 'bar')}, "
                "or look for a | that is missing or doubled"
            )
            self._book.add(
                f"the rows of a line need the same number of bars ({counts})",
                row.place,
                row.label,
                "" if certain else mend,
                edits=certain,
            )

    def _lines_missing(self, row: WrittenRow) -> tuple[Edit, ...]:
        """Return the bar lines that a row lacks where its notes or chords fill several bars exactly."""
        if self._meter is None or row.name not in _TIMED:
            return ()
        edits: list[Edit] = []
        for cell in row.cells:
            lengths = guessed_lengths(cell, row.name)
            if lengths:
                edits += bar_lines_missing(lengths, cell, self._meter.bar_beat)
        return tuple(edits)

    def _readings(self, index: int, row: WrittenRow) -> list[_Reading]:
        """Return the ways to tell a row's bars apart, the likeliest first.

        A bar line that stands first closes an empty pick-up; in a line without one it opens the row, or follows
        an empty first bar. One that stands last closes the row, or, where the tune of the line ends without,
        comes before an empty last bar.
        """
        pickup = index == 0 and self._pickup_beat > 0
        if row.opening and not pickup:
            leads = [1, 0]
        elif row.opening:
            # Words open with a bar line when their first syllable, `last` or a figure, would be read as a pass.
            leads = [1, 2] if row.name == "words" else [1]
        elif pickup and row.name in _TIMED and guessed_length(row.cells[0], row.name) == self._pickup_beat:
            leads = [1]
        else:
            leads = [0, 1] if pickup else [0]
        trails = [0, 1] if row.closed and self._last_bar_line_is_open else [0]
        return [_Reading(len(row.cells) - lead + trail, lead, trail) for trail in trails for lead in leads]

    # ---- a row

    def _row(self, index: int, row: WrittenRow, count: int | None) -> Row:
        """Return a row; without a count its cells are read only for their mistakes."""
        if not row.cells:
            return Row(row.name, row.passes, (), None, row.place)
        readings = self._readings(index, row)
        reading = next((reading for reading in readings if reading.bars == count), readings[0])
        cells = list(row.cells[reading.lead :]) + [Cell((), row.cells[-1].place)] * reading.trail
        self._tell_bars(row, reading)
        pickup: Items | None = None
        for lead in row.cells[: reading.lead]:
            if lead.words:
                pickup = self._cells.items(row, lead, Room(self._pickup_beat, is_pickup=True))
        bar = Room(
            self._meter.bar_beat if self._meter else Fraction(0), bars_lacking=self._lacking.get(row.place, 0)
        )
        last = replace(
            bar, left_to_pickup_beat=self._pickup_beat if index == self._last_line else Fraction(0)
        )
        bars = tuple(
            self._cells.items(row, cell, last if number == len(cells) else bar)
            for number, cell in enumerate(cells, 1)
        )
        return Row(row.name, row.passes, bars if count is not None else (), pickup, row.place)

    def _tell_bars(self, row: WrittenRow, reading: _Reading) -> None:
        """Tell the book where the bars of a row stand."""
        label = row.label
        for place, cell in enumerate(row.cells, 1 - reading.lead):
            number = self._bars_before + place if place > 0 else 0
            self._book.tell_bar(number, label, cell.place, empty=not cell.words)

    # ---- a section

    def _check_chords(self, section: Section, place: Source) -> None:
        """Note a section that has no chords, or doesn't start with one."""
        plain = [
            row for line in section.lines for row in line.rows if row.name == "chords" and not row.passes
        ]
        if not plain:
            self._book.add(
                f"`{section.name}` has no row chords",
                place,
                mend="write one, with N.C. where no chord sounds: every section needs its chords",
            )
            return
        first = next((row for row in section.lines[0].rows if row.name == "chords" and not row.passes), None)
        if first is None or (first.bars[0] is None and first.pickup is None):
            self._book.add(
                f"`{section.name}` must start with a chord or N.C.",
                (first or plain[0]).source,
                "chords",
                "an empty bar goes on with the chord before, and here is none before: write N.C. for no chord",
            )


def _is_open(rows: list[WrittenRow]) -> bool:
    """Return whether the tune of a line, or else its chords, ends without a last bar line."""
    for name in ("melody", "chords"):
        for row in rows:
            if row.name == name and not row.passes:
                return not row.closed
    return False


def _most_wanted(options: list[tuple[int, ...]]) -> list[int]:
    """Return the counts that rows may have, those that most rows want first.

    A row with one possible count has more say than a row with two.
    """
    votes: Counter[int] = Counter()
    for option in options:
        for rank, count in enumerate(option):
            votes[count] += 100 if len(set(option)) == 1 else 10 - rank
    return [count for count, _ in votes.most_common()]
