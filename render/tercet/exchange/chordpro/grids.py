"""Grids: bars of cells with chords, repeats and endings, and strum patterns."""

from __future__ import annotations

import re
from math import lcm

from tercet.exchange.chordpro.drafts import DraftBar, Part, Stanza
from tercet.exchange.chordpro.signs import ChordReader, Remarks, chord_named
from tercet.exchange.leadsheet import LeadChord
from tercet.song import Slot

__all__ = ["STRUM_CELLS", "GridReader", "strum_slots"]

_BAR = re.compile(r":\|:|:?\|(?:\|:?|:|\.|\d>?)?")
_STRUM = re.compile(r"\s*\|[sS]\b(.*)")

STRUM_CELLS: dict[str, Slot] = {
    "d": "d", "dn": "d", "da": "d", "ds": "d", "u": "u", "up": "u", "ua": "u", "us": "u",
    "d+": "D", "dn+": "D", "da+": "D", "ds+": "D", "u+": "U", "up+": "U", "ua+": "U", "us+": "U",
    "x": "x", "dx": "x", "ux": "x", "dx+": "x", "ux+": "x", ".": ".", "": ".",
}  # fmt: skip
"""What a strum line's cells are in a song: an arpeggio or a short stroke is a stroke, a muted one a chop."""


def strum_slots(bar: str) -> tuple[Slot, ...] | None:
    """Return the slots of a strum line's bar; None where a cell isn't a stroke.

    >>> strum_slots("d . dn~up ~up")
    ('d', '.', '.', '.', 'd', 'u', '.', 'u')
    """
    cells = [cell.split("~") for cell in bar.split()]
    if not cells or any(each not in STRUM_CELLS for cell in cells for each in cell):
        return None
    size = lcm(*(len(cell) for cell in cells))
    if size > 12:
        return None
    slots = []
    for cell in cells:
        gap = size // len(cell) - 1
        slots += [slot for each in cell for slot in (STRUM_CELLS[each], *"." * gap)]
    return tuple(slots)


class GridReader:
    """Reads the lines of grids into bars of their stanza; keeps the strum patterns that it meets."""

    def __init__(self, chords: ChordReader, remarks: Remarks) -> None:
        self._chords = chords
        self._remarks = remarks
        self.patterns: list[tuple[int, tuple[Slot, ...]]] = []
        self._ending: tuple[int, ...] = ()
        self._is_told = False

    def read(self, stanza: Stanza, text: str, line: int, meter: tuple[int, int]) -> None:
        """Read one line into a stanza."""
        strum = _STRUM.fullmatch(text)
        if strum:
            self._strum(strum[1], line)
            return
        signs = list(_BAR.finditer(text))
        row = stanza.rows
        if not signs:
            if text.strip():
                self._remarks.add(
                    "a line of a grid without bar lines is passed over: write | between bars", line
                )
            return
        for index, sign in enumerate(signs):
            self._bar_sign(sign[0], stanza)
            end = signs[index + 1].start() if index + 1 < len(signs) else len(text)
            cells = text[sign.end() : end].split()
            if index + 1 == len(signs) and not all(map(_is_cell, cells)):
                continue
            repeat = sign[0].endswith(":")
            bar = DraftBar(line, row, meter=meter, repeat_start=repeat, endings=self._ending)
            if cells:
                self._fill(bar, cells, stanza)

    def _bar_sign(self, sign: str, stanza: Stanza) -> None:
        """Note what a bar line says of the bar before it, and of the ending that begins."""
        if sign.startswith(":") and stanza.bars:
            stanza.bars[-1].repeat_times = 2
        figure = re.search(r"\d", sign)
        if figure:
            self._ending = (int(figure[0]) or 1,)
        elif sign != "|":
            self._ending = ()

    def _fill(self, bar: DraftBar, cells: list[str], stanza: Stanza) -> None:
        before = stanza.bars
        if cells[0] in ("%", "%%"):
            back = len(cells[0])
            if len(before) < back:
                self._remarks.add(
                    f"{cells[0]} has no bar before it to play again, and is passed over", bar.line
                )
                return
            copied = [before[-back].like(bar.line, bar.row)]
            if back == 2:
                copied.append(before[-1].like(bar.line, bar.row))
            for each in copied:
                each.repeat_start, each.repeat_times, each.endings = False, 0, bar.endings
            copied[0].repeat_start = bar.repeat_start
            self._is_told = back == 2
            before += copied
            return
        if self._is_told and all(cell in _BLANK for cell in cells):
            self._is_told = False
            return
        self._is_told = False
        pieces = [cell.split("~") for cell in cells]
        size = lcm(*(len(piece) for piece in pieces))
        if size > 12 or len(cells) > 32:
            self._remarks.add("a bar of a grid with more than 32 cells is passed over", bar.line)
            return
        for piece in pieces:
            for name in piece:
                bar.parts.append(Part(self._chord(name, bar.line)))
                bar.parts += [Part() for _ in range(size // len(piece) - 1)]
        before.append(bar)

    def _chord(self, name: str, line: int) -> LeadChord | None:
        """Return the chord that begins in a cell, if one does."""
        if name in _BLANK or not name:
            return None
        chord = self._chords.read(name, line)
        if chord is None:
            self._remarks.add(f"`{name[:20]}` isn't a chord and is passed over", line)
        return chord

    def _strum(self, text: str, line: int) -> None:
        for bar in (each for each in _BAR.split(text) if each.strip()):
            slots = strum_slots(bar)
            if slots is None:
                told = " ".join(bar.split())[:40]
                self._remarks.add(
                    f"`{told}` isn't a strum pattern and is passed over: write dn, up, x and .", line
                )
            else:
                self.patterns.append((line, slots))


_BLANK = (".", "/")


def _is_cell(cell: str) -> bool:
    """Return whether a word behind the last bar line is music still, not a remark in the margin."""
    return cell in ("%", "%%", *_BLANK) or all(
        not name or name in _BLANK or chord_named(name) is not None for name in cell.split("~")
    )
