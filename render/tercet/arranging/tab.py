"""An arrangement as plain text: four lines for the strings, chords above, strokes and words below.

String 1 stands on top. A roll is a stack of frets with R beneath: the thumb falls from the lowest of them to the
highest, which is the tune. Strums have only their sign: the hand stays as it is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tercet.arranging.model import Arrangement, Gesture, explained
from tercet.arranging.report import stroke_text
from tercet.song import Bar, played_visits
from tercet.song.spelling import shown_width

__all__ = ["LEGEND", "tab_text"]

LEGEND = "R roll, M tune alone, b between, + added; d down, u up, x chop, D U with an accent"

SECOND_LEGEND = "S second voice"
"""Under the tab of a second voice's own part."""

_STRINGS = (1, 2, 3, 4)
_CHORDS, _TUNE, _STRUMS, _WORDS = "chords", "tune", "strums", "words"
_WIDEST_GAP = 8


@dataclass(frozen=True, slots=True)
class _Column:
    """What stands at one beat of a bar: frets by string, and the texts of the rows above and below."""

    frets: dict[int, str] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _BarText:
    """One bar laid out: its lines for the strings and its rows of text, all of one width, without bar lines."""

    bar: Bar
    strings: dict[int, str]
    texts: dict[str, str]
    width: int


def tab_text(arrangement: Arrangement, bars: Sequence[int] | None = None, width: int = 96) -> str:
    """Return the tab of an arrangement.

    Parameters
    ----------
    arrangement
        What is played.
    bars
        Indices of the bars wanted, in order, as `tercet.song.bar_indices` gives them. Without them each section is
        shown once, and of a later pass the lines of music in which the hands do something else.
    width
        Columns that a line may take; a single bar may be wider.

    Returns
    -------
    str
        Lines without trailing spaces, the legend last; it ends with a line break.
    """
    cells = _cells(arrangement)
    lines: list[str] = []
    if bars is not None:
        return _finished(_music(bars, arrangement, cells, width), arrangement)
    shown: dict[str, list[int]] = {}
    for played in played_visits(arrangement.bars):
        visit = list(range(played.first_bar, played.last_bar + 1))
        first = shown.setdefault(arrangement.bars[visit[0]].section, visit)
        wanted = visit
        if first is not visit:
            wanted = _played_otherwise(visit, first, arrangement, cells)
            but = ", but for:" if wanted else ""
            bar = arrangement.bars[visit[0]]
            lines += [f"{_name(bar)}: as {_span(first, arrangement)}{but}", ""]
        lines += _music(wanted, arrangement, cells, width)
    return _finished(lines, arrangement)


def _music(
    indices: Sequence[int], arrangement: Arrangement, cells: Sequence[dict[Fraction, _Column]], width: int
) -> list[str]:
    """Return the lines of some bars; the section's name stands where it begins."""
    lines: list[str] = []
    before = None
    for system in _systems(indices, arrangement, cells, width):
        bar = system[0].bar
        if before != (bar.section, bar.pass_number):
            lines.append(_name(bar))
        before = bar.section, bar.pass_number
        lines += [*_system_lines(system, arrangement), ""]
    return lines


def _played_otherwise(
    visit: Sequence[int],
    first: Sequence[int],
    arrangement: Arrangement,
    cells: Sequence[dict[Fraction, _Column]],
) -> list[int]:
    """Return the bars of those lines of music that are played in another way than on the first pass."""
    # The pick-up at the very start of the piece is a bar of its own, which other passes don't have.
    of_first = {arrangement.bars[index].section_bar: _content(cells[index]) for index in first}
    otherwise = {
        arrangement.bars[index].line
        for index in visit
        if of_first.get(arrangement.bars[index].section_bar) != _content(cells[index])
    }
    return [index for index in visit if arrangement.bars[index].line in otherwise]


def _finished(lines: Sequence[str], arrangement: Arrangement) -> str:
    """Return lines as one text, with the legend below."""
    second = any(gesture.layer == "second" for gesture in arrangement.gestures)
    legend = SECOND_LEGEND if second else LEGEND
    return "\n".join(line.rstrip() for line in [*lines, legend, *explained(arrangement)]) + "\n"


def _name(bar: Bar) -> str:
    return bar.section + (f", pass {bar.pass_number}" if bar.pass_number > 1 else "")


def _span(visit: Sequence[int], arrangement: Arrangement) -> str:
    first, last = arrangement.bars[visit[0]].number, arrangement.bars[visit[-1]].number
    return f"bars {first} to {last}" if first != last else f"bar {first}"


# ---- what stands where


def _cells(arrangement: Arrangement) -> list[dict[Fraction, _Column]]:
    """Return for each bar its columns by beat."""
    cells: list[dict[Fraction, _Column]] = [defaultdict(_Column) for _ in arrangement.bars]
    for bar, cell in zip(arrangement.bars, cells, strict=True):
        for gesture in arrangement.by_bar[bar.number]:
            column = cell[gesture.start_beat - bar.start_beat]
            if gesture.layer == "strums":
                column.texts[_STRUMS] = stroke_text(gesture)
                continue
            column.texts[_TUNE] = column.texts.get(_TUNE, "") + _tune_sign(gesture)
            column.frets.update({note.string: note.shown for note in gesture.notes})
    chord, before = "", None
    for bar, cell in zip(arrangement.bars, cells, strict=True):
        if before is None or not _go_on(before, bar):
            chord = ""
        before = bar
        cell[Fraction(0)].texts.setdefault(_TUNE, "")
        for span in bar.chords:
            name = "N.C." if span.chord is None else str(span.chord)
            if name != chord:
                cell[span.start_beat].texts[_CHORDS] = name
            chord = name
        for beat, syllable in bar.words:
            text = "_" if syllable.holds else syllable.text + ("-" if syllable.joined else "")
            cell[beat].texts[_WORDS] = text
    return cells


def _tune_sign(gesture: Gesture) -> str:
    if gesture.notes[-1].part != "tune":
        return "+"
    if gesture.action == "roll":
        return "R"
    return {"melody": "M", "second": "S"}.get(gesture.layer, "b")


def _content(cell: dict[Fraction, _Column]) -> object:
    """Return what the hands do in a bar, to compare it with another."""
    return {
        beat: (tuple(sorted(column.frets.items())), column.texts.get(_TUNE), column.texts.get(_STRUMS))
        for beat, column in cell.items()
        if column.frets or _STRUMS in column.texts
    }


# ---- laying out


def _systems(
    visit: Sequence[int], arrangement: Arrangement, cells: Sequence[dict[Fraction, _Column]], width: int
) -> Iterator[list[_BarText]]:
    """Yield bars that stand beside each other: a line of music, broken where it is too wide."""
    system: list[_BarText] = []
    used = 0
    for index in visit:
        laid = _laid_bar(arrangement.bars[index], cells[index], arrangement)
        if system and (not _go_on(system[-1].bar, laid.bar) or used + laid.width + 1 > width):
            yield system
            system = []
        if not system:
            used = len(_label(1, arrangement)) + 1
        system.append(laid)
        used += laid.width + 1
    if system:
        yield system


def _go_on(before: Bar, after: Bar) -> bool:
    """Whether a bar follows another within a line of music."""
    place_before = before.section, before.pass_number, before.line, before.number + 1
    return place_before == (after.section, after.pass_number, after.line, after.number)


def _laid_bar(bar: Bar, cell: dict[Fraction, _Column], arrangement: Arrangement) -> _BarText:
    """Lay one bar out: each column as wide as its time, and as what stands in it."""
    beats = sorted(cell)
    ends = [*beats[1:], bar.length_beat]
    part_beat = arrangement.song.meter.pulse_beat / 2
    strings = dict.fromkeys(_STRINGS, "-")
    texts = dict.fromkeys((_CHORDS, _TUNE, _STRUMS, _WORDS), " ")
    for beat, end in zip(beats, ends, strict=True):
        column = cell[beat]
        room = min(max(round(3 * (end - beat) / part_beat), 3), _WIDEST_GAP)
        room = max(room, *(shown_width(text) + 1 for text in column.texts.values()))
        room = max(room, *(len(fret) + 1 for fret in column.frets.values()), 2)
        for string in _STRINGS:
            strings[string] += column.frets.get(string, "").ljust(room, "-")
        for name in texts:
            text = column.texts.get(name, "")
            texts[name] += text + " " * (room - shown_width(text))
    return _BarText(bar, strings, texts, shown_width(strings[1]))


def _label(string: int, arrangement: Arrangement) -> str:
    """Return the open string's name in two columns."""
    pitch = arrangement.tuning.open_pitches[4 - string]
    return f"{str(pitch).rstrip('0123456789-'):<2}"


def _system_lines(system: Sequence[_BarText], arrangement: Arrangement) -> Iterator[str]:
    """Yield the lines of bars that stand beside each other: bar numbers, chords, strings, strokes, words."""
    margin = " " * len(_label(1, arrangement))
    yield margin + "".join(f" {laid.bar.number}".ljust(laid.width + 1) for laid in system)
    yield _text_row(_CHORDS, system, margin)
    for string in _STRINGS:
        row = "|".join(laid.strings[string] for laid in system)
        yield f"{_label(string, arrangement)}|{row}|"
    for kind in (_TUNE, _STRUMS, _WORDS):
        row = _text_row(kind, system, margin)
        if row.strip():
            yield row


def _text_row(kind: str, system: Sequence[_BarText], margin: str) -> str:
    return f"{margin} " + " ".join(laid.texts[kind] for laid in system)
