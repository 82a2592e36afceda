"""Lines of words with chords, as bars: where bar lines stand, or so many bars for each chord."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from tercet.exchange.chordpro.drafts import DraftBar, Part, Stanza
from tercet.exchange.chordpro.signs import Sign, syllables_of
from tercet.exchange.leadsheet import TuneError
from tercet.song import Syllable

__all__ = [
    "BARS_PER_CHORD",
    "SungLine",
    "bars_unknown",
    "has_bar_lines",
    "has_chords",
    "set_in_bars",
    "set_like",
]

BARS_PER_CHORD = tuple(Fraction(text) for text in ("1/4", "1/3", "1/2", "1", "2", "4"))
"""How many bars a chord may last where a file doesn't say."""


@dataclass(frozen=True, slots=True)
class SungLine:
    """A line of a stanza, taken apart."""

    number: int
    signs: tuple[Sign, ...]
    meter: tuple[int, int]


def has_bar_lines(lines: Sequence[SungLine]) -> bool:
    """Return whether bar lines stand in the lines."""
    return any(sign.kind == "bar" for line in lines for sign in line.signs)


def has_chords(lines: Sequence[SungLine]) -> bool:
    """Return whether a chord stands in the lines."""
    return any(sign.kind == "chord" for line in lines for sign in line.signs)


def bars_unknown(line: int, file: str) -> TuneError:
    """Return what is said where nothing tells how long a chord lasts."""
    return TuneError(
        f"line {line} of {file}: nothing says how many bars each chord lasts. Three ways: import it with "
        "--bars-per-chord 1 where each chord has a bar (1/2 for two chords a bar, 2 for two bars a chord); or write "
        "[|] in the file where a bar begins, [|][C]Down in the [|][G7]valley; or write its bars as a grid, "
        "{start_of_grid}, | C . . . | G7 . . . |, {end_of_grid}"
    )


class _Words:
    """Sets words on parts of bars; a word that goes on behind a chord or a bar line is one."""

    def __init__(self) -> None:
        self._last: list[Syllable] | None = None
        self._open = False

    def sing(self, text: str, part: Part) -> None:
        """Set words on a part."""
        found = syllables_of(text)
        if self._open and self._last and found and not text[:1].isspace():
            self._last[-1] = replace(self._last[-1], joined=True)
        part.sung += found
        if found:
            self._last = part.sung
        self._open = bool(found) and not text[-1:].isspace()

    def end_line(self) -> None:
        """Note that a line ends: what stands on the next is a new word, unless a hyphen joins them."""
        self._open = False


def set_in_bars(
    stanza: Stanza, lines: Sequence[SungLine], bars_per_chord: Fraction | None, pulse: Fraction
) -> None:
    """Set lines in the bars of a stanza.

    Parameters
    ----------
    stanza
        Gets its bars and its pick-up.
    lines
        What it has, line by line.
    bars_per_chord
        How long a chord lasts where there are no bar lines.
    pulse
        How long a pick-up is, in beats, unless the file says so.
    """
    if has_bar_lines(lines):
        _at_bar_lines(stanza, lines)
    elif bars_per_chord is not None:
        _by_chords(stanza, lines, bars_per_chord)
    if stanza.pickup is not None and stanza.pickup_beat is None:
        stanza.pickup_beat = pulse


def _at_bar_lines(stanza: Stanza, lines: Sequence[SungLine]) -> None:
    edges = {
        sign.kind
        for line in lines
        for sign in (line.signs[:1] + line.signs[-1:])
        if sign.kind != "words" or sign.text.strip()
    }
    line_ends_bar = "bar" not in edges
    words = _Words()
    bar: DraftBar | None = None
    begun = False
    for row, line in enumerate(lines):
        for sign in line.signs:
            if sign.kind == "bar":
                if bar is not None and bar.parts:
                    _close(stanza, bar, is_first=not begun)
                begun = True
                bar = DraftBar(line.number, row, meter=line.meter)
                continue
            if sign.kind == "words" and not sign.text.strip():
                words.sing(sign.text, Part())
                continue
            bar = bar or DraftBar(line.number, row, meter=line.meter)
            if sign.kind == "chord":
                bar.parts.append(Part(sign.chord))
            elif sign.kind == "beat":
                bar.parts.append(Part())
            else:
                if not bar.parts:
                    bar.parts.append(Part())
                words.sing(sign.text, bar.parts[-1])
        words.end_line()
        if line_ends_bar and bar is not None and bar.parts:
            _close(stanza, bar, is_first=not begun)
            begun, bar = True, None
        elif bar is not None and not bar.parts:
            bar = None
    if bar is not None and bar.parts:
        _close(stanza, bar, is_first=not begun)


def _close(stanza: Stanza, bar: DraftBar, *, is_first: bool) -> None:
    """Put a bar into a stanza; words before the first bar line are its pick-up."""
    alone = all(part.chord is None for part in bar.parts)
    if is_first and (alone or stanza.pickup_beat is not None):
        stanza.pickup = bar
    else:
        stanza.bars.append(bar)


def _by_chords(stanza: Stanza, lines: Sequence[SungLine], bars_per_chord: Fraction) -> None:
    """Set lines in bars that last as long as their chords."""
    together = max(int(1 / bars_per_chord), 1)
    words = _Words()
    for row, line in enumerate(lines):
        bar: DraftBar | None = None
        for sign in line.signs:
            if sign.kind in ("chord", "beat"):
                if bar is None or len(bar.parts) == together:
                    bar = DraftBar(line.number, row, meter=line.meter)
                    stanza.bars.append(bar)
                bar.parts.append(Part(sign.chord))
            elif sign.kind == "words":
                words.sing(sign.text, _part_for(sign, stanza, line, row))
        if bar is not None:
            bar.parts += [Part() for _ in range(together - len(bar.parts))]
        words.end_line()
    if bars_per_chord > 1:
        stanza.bars = [each for bar in stanza.bars for each in _spread(bar, int(bars_per_chord))]


def _part_for(sign: Sign, stanza: Stanza, line: SungLine, row: int) -> Part:
    """Return the part that words are sung on: the last, or the pick-up before any chord."""
    if not sign.text.strip():
        return Part()
    if stanza.bars:
        return stanza.bars[-1].parts[-1]
    if stanza.pickup is None:
        stanza.pickup = DraftBar(line.number, row, [Part()], line.meter)
    return stanza.pickup.parts[-1]


def _spread(bar: DraftBar, bars: int) -> list[DraftBar]:
    """Return a bar's one chord, with its words, as several bars."""
    sung = [syllable for part in bar.parts for syllable in part.sung]
    chord = next((part.chord for part in bar.parts if part.chord), None)
    return [
        DraftBar(bar.line, bar.row, [Part(chord if index == 0 else None, chunk)], bar.meter)
        for index, chunk in enumerate(_chunks(sung, bars))
    ]


def _chunks(sung: list[Syllable], count: int) -> list[list[Syllable]]:
    """Return syllables in so many parts of about one length, the longer ones first."""
    edges = [-(-len(sung) * index // count) for index in range(count + 1)]
    return [sung[low:high] for low, high in pairwise(edges)]


def set_like(stanza: Stanza, lines: Sequence[SungLine], model: Stanza) -> None:
    """Set lines of words without chords in the bars of another stanza, line by line."""
    pickup_beat = model.pickup_beat
    if model.pickup is not None:
        stanza.pickup, stanza.pickup_beat = model.pickup.like(stanza.line, 0), pickup_beat
    for row, line in enumerate(lines):
        bars = [bar.like(line.number, row) for bar in model.bars if bar.row == row]
        words = " ".join(sign.text for sign in line.signs if sign.kind == "words")
        parts = [part for bar in bars for part in bar.parts]
        for part, chunk in zip(parts, _chunks(syllables_of(words), max(len(parts), 1)), strict=False):
            part.sung += chunk
        stanza.bars += bars
