"""How Tercet writes things: one spelling for every number, note, chord, mark and text, and one layout for rows."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tercet.song.grammar import ChordWord, MarkWord, NoteWord, StrumWord, WordOfSyllables
from tercet.song.model import Pin
from tercet.theory.pitch import SIGNS

__all__ = [
    "LaidRow",
    "lay_out",
    "number_text",
    "padded",
    "shape_text",
    "shown_width",
    "word_text",
    "yaml_text",
]

_PLAIN_YAML = re.compile(r"[^\W\d_](?:[\w ,.()/+'’–—-]*[\w.)])?")
_RESERVED = {"null", "true", "false", "yes", "no", "on", "off", "y", "n"}


def number_text(number: Fraction) -> str:
    """Return a number as it is read most easily: ``2``, ``1.5``, ``1/2``, ``4/3``.

    Halves, quarters and decimals of more than 1 have a point; everything else that isn't whole is a fraction.
    """
    if number.denominator == 1:
        return str(number.numerator)
    if number > 1 and 10**4 % number.denominator == 0:
        text = f"{float(number):.4f}".rstrip("0")
        if Fraction(text) == number:
            return text
    return f"{number.numerator}/{number.denominator}"


def yaml_text(text: str) -> str:
    """Return a text as YAML takes it: plain when that is safe, else between double quotes; empty for nothing."""
    if not text:
        return ""
    if _PLAIN_YAML.fullmatch(text) and text.casefold() not in _RESERVED:
        return text
    return json.dumps(text, ensure_ascii=False)


def word_text(word: NoteWord | ChordWord | MarkWord | StrumWord | WordOfSyllables) -> str:
    """Return a word of a row as Tercet spells it; what the word doesn't say isn't added."""
    if isinstance(word, NoteWord):
        return _note_text(word)
    if isinstance(word, ChordWord):
        name = "N.C." if word.chord is None else str(word.chord)
        return name + shape_text(word.shape, word.fingers) + _length_text(word.length_beat)
    if isinstance(word, MarkWord):
        return _mark_text(word)
    if isinstance(word, StrumWord):
        return " ".join(word.slots)
    return _syllables_text(word)


def _note_text(word: NoteWord) -> str:
    if word.is_rest:
        head = "."
    elif word.goes_on:
        head = "="
    elif word.position is not None:
        head = "s{}f{}".format(*word.position)
    else:
        head = word.letter + SIGNS[word.alter] + ("" if word.octave is None else str(word.octave))
    return head + _length_text(word.length_beat) + _pin_text(word.pin)


def _length_text(length_beat: Fraction | None) -> str:
    return "" if length_beat is None else f":{number_text(length_beat)}"


def _pin_text(pin: Pin | None) -> str:
    if pin is None:
        return ""
    return f"[{''.join(map(str, pin.strings)) or pin.action}]"


def shape_text(shape: tuple[int | None, ...] | None, fingers: tuple[int, ...] | None = None) -> str:
    """Return a shape with its fingers as a chord takes it, ``[2000/2000]``; empty for None."""
    if shape is None:
        return ""
    frets = ["x" if fret is None else str(fret) for fret in shape]
    text = ("." if any(len(fret) > 1 for fret in frets) else "").join(frets)
    if fingers is None:
        return f"[{text}]"
    signs = ("x" if fret is None else str(finger) for fret, finger in zip(shape, fingers, strict=True))
    return f"[{text}/{''.join(signs)}]"


def _mark_text(word: MarkWord) -> str:
    name = word.value or {"breath": ","}.get(word.kind, word.kind)
    layer = f"{word.layer}:" if word.layer else ""
    return layer + name + ("" if word.place is None else f"@{number_text(word.place)}")


def _syllables_text(word: WordOfSyllables) -> str:
    text = ""
    for index, part in enumerate(word.parts):
        if not part:
            text += " _ "
        else:
            text += part + ("-" if index < len(word.parts) - 1 or word.goes_on else "")
    return " ".join(text.split())


# ---- layout


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
                padded(row.label, width) + (" | " if row_opens else gap)
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
        cells = [padded(column[number], width) for column, width in zip(columns, widths, strict=True)]
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


def padded(text: str, width: int) -> str:
    """Return a text with spaces after it, up to a width as `shown_width` counts it."""
    return text + " " * (width - shown_width(text))
