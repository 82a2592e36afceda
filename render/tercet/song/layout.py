"""How the rows of a section stand on the page: names in one column, bar lines above each other."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["LaidRow", "lay_out", "shown_width"]

_LIKE_A_PASS = re.compile(r"(?:last|\d{1,3})(?![^\s,;&+:.-])")


@dataclass(frozen=True, slots=True)
class LaidRow:
    """A row to be laid out: its name with passes, the text of its pick-up and of each bar."""

    label: str
    pickup: str
    bars: tuple[str, ...]

    @property
    def first(self) -> str:
        """The text that follows the label."""
        return self.pickup or self.bars[0]


def lay_out(lines: Sequence[Sequence[LaidRow]], has_pickup: bool) -> list[list[str]]:
    """Return the text of the rows of a section, line of music by line of music.

    Parameters
    ----------
    lines
        The rows of each line; those of one line have the same number of bars.
    has_pickup
        Whether the section starts with a pick-up.
    """
    opens = [_opens(rows, has_pickup and index == 0) for index, rows in enumerate(lines)]
    width = max((len(row.label) for rows in lines for row in rows), default=0)
    gap = "   " if any(map(any, opens)) else "  "
    return [
        _lay_out_line(
            rows,
            [
                _padded(row.label, width) + (" | " if row_opens else gap)
                for row, row_opens in zip(rows, line_opens, strict=True)
            ],
            has_pickup and index == 0,
        )
        for index, (rows, line_opens) in enumerate(zip(lines, opens, strict=True))
    ]


def _opens(rows: Sequence[LaidRow], has_pickup: bool) -> list[bool]:
    """Return for each row of a line whether a bar line must stand first, for its bars not to be misread.

    It must when every row starts with an empty bar, and when the words start like a pass.
    """
    all_open = not has_pickup and all(not row.first or _like_a_pass(row) for row in rows)
    return [all_open or _like_a_pass(row) for row in rows]


def _lay_out_line(rows: Sequence[LaidRow], labels: Sequence[str], has_pickup: bool) -> list[str]:
    columns = [[row.bars[index] for row in rows] for index in range(len(rows[0].bars) if rows else 0)]
    if has_pickup:
        columns.insert(0, [row.pickup for row in rows])
    widths = [max(map(shown_width, column)) for column in columns]
    lines = []
    for number, label in enumerate(labels):
        cells = [_padded(column[number], width) for column, width in zip(columns, widths, strict=True)]
        lines.append(f"{label}{' | '.join(cells)} |")
    return lines


def _like_a_pass(row: LaidRow) -> bool:
    """Return whether the first syllable of the words would be read as a pass."""
    return row.label.startswith("words") and bool(_LIKE_A_PASS.match(row.first))


def shown_width(text: str) -> int:
    """Return how many columns a text takes on a terminal: wide letters count 2, combining marks 0.

    After Unicode Standard Annex 11 and the general category Mn.
    """
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in ("W", "F") else 1
        for sign in text
    )


def _padded(text: str, width: int) -> str:
    return text + " " * (width - shown_width(text))
