"""What stands on a handout, bar by bar: each line of music once, with the words of every time that it is played so.

A section is shown as it is played first. Of a later time only those lines are shown again in which the hands do
something else; where they do the same, its words stand under the first ones.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.arranging import Arrangement, Gesture
from tercet.song import Bar, played_visits

__all__ = ["Column", "HandoutBar", "HandoutLine", "handout_lines"]

NO_CHORD = "N.C."


@dataclass(frozen=True, slots=True)
class Column:
    """What stands at one beat of a bar.

    Parameters
    ----------
    beat, length_beat
        Place in the bar, and the time to the next column or the bar's end.
    strokes
        What the right hand does.
    chord
        A chord's name where it changes, else empty.
    words
        A syllable for each time that the line is sung, empty where nothing is sung.
    """

    beat: Fraction
    length_beat: Fraction
    strokes: tuple[Gesture, ...] = ()
    chord: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HandoutBar:
    """A bar: its number in the piece as played, and its columns; `goes_on` if the bar line comes later."""

    number: int
    columns: tuple[Column, ...]
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class HandoutLine:
    """A line of music: its section, the time it is first played so, whether it opens the section, and its bars."""

    section: str
    pass_number: int
    opens: bool
    bars: tuple[HandoutBar, ...]
    bar_numbers: tuple[int, ...]


def handout_lines(arrangement: Arrangement) -> tuple[HandoutLine, ...]:
    """Return the lines of music of a handout, in the order in which they are first played."""
    shown: list[HandoutLine] = []
    hands: list[dict[int, object]] = []
    places: dict[tuple[str, int], list[int]] = defaultdict(list)
    for bars in (line for visit in played_visits(arrangement.bars) for line in visit.lines):
        first = bars[0]
        laid = _with_chords([_laid(bar, arrangement.by_bar[bar.number]) for bar in bars], bars)
        content = {bar.section_bar: _hands(each) for bar, each in zip(bars, laid, strict=True)}
        same = [at for at in places[first.section, first.line] if _agree(hands[at], content)]
        if same:
            shown[same[0]] = _sung_too(shown[same[0]], laid)
            continue
        numbers = tuple(bar.number for bar in bars)
        opens = first.line == 0
        places[first.section, first.line].append(len(shown))
        shown.append(HandoutLine(first.section, first.pass_number, opens, tuple(laid), numbers))
        hands.append(content)
    return tuple(shown)


def _laid(bar: Bar, gestures: Sequence[Gesture]) -> HandoutBar:
    """Return a bar with its strokes and words; there is a column wherever something stands."""
    strokes: dict[Fraction, list[Gesture]] = defaultdict(list)
    for gesture in gestures:
        strokes[gesture.start_beat - bar.start_beat].append(gesture)
    words = {
        beat: syllable.text + "-" * syllable.joined for beat, syllable in bar.words if not syllable.holds
    }
    chords = {span.start_beat for span in bar.chords}
    beats = sorted({Fraction(0), *strokes, *words, *chords})
    ends = [*beats[1:], bar.length_beat]
    columns = tuple(
        Column(beat, end - beat, tuple(strokes[beat]), words=(words.get(beat, ""),))
        for beat, end in zip(beats, ends, strict=True)
    )
    return HandoutBar(bar.number, columns)


def _with_chords(laid: Sequence[HandoutBar], bars: Sequence[Bar]) -> list[HandoutBar]:
    """Return the bars of a line with the names of chords where they change; a line begins with one."""
    before = ""
    named = []
    for each, bar in zip(laid, bars, strict=True):
        names: dict[Fraction, str] = {}
        for span in bar.chords:
            name = str(span.chord) if span.chord else NO_CHORD
            if name != before and not (not before and name == NO_CHORD):
                names[span.start_beat] = name
            before = name
        columns = (replace(column, chord=names.get(column.beat, "")) for column in each.columns)
        named.append(replace(each, columns=tuple(columns)))
    return named


def _hands(bar: HandoutBar) -> object:
    """Return what the hands do in a bar, to compare it with another."""
    return tuple(
        (column.beat, tuple(map(_shown, column.strokes)), column.chord)
        for column in bar.columns
        if column.strokes or column.chord
    )


def _shown(stroke: Gesture) -> object:
    """Return what the tab shows of a stroke."""
    notes = tuple((note.string, note.shown, note.part == "tune") for note in stroke.notes)
    return stroke.layer, stroke.action, stroke.up, stroke.accent, notes


def _agree(one: dict[int, object], other: dict[int, object]) -> bool:
    """Whether the hands do the same in every bar that both have; only the first time may have a pick-up more."""
    return all(one[bar] == other[bar] for bar in other if bar in one) and set(other) <= set(one)


def _sung_too(line: HandoutLine, laid: Sequence[HandoutBar]) -> HandoutLine:
    """Return a line with the words of one more time; words that stand there already aren't written twice."""
    more = laid[-len(line.bars) :]
    lead = len(line.bars) - len(more)
    new = [{column.beat: column.words[0] for column in bar.columns if column.words[0]} for bar in more]
    texts = [
        [{c.beat: c.words[verse] for c in bar.columns if c.words[verse]} for bar in line.bars[lead:]]
        for verse in range(len(line.bars[0].columns[0].words))
    ]
    if not any(new) or new in texts:
        return line
    bars = [
        _with_words(bar, new[index - lead] if index >= lead else {}) for index, bar in enumerate(line.bars)
    ]
    return replace(line, bars=tuple(bars))


def _with_words(bar: HandoutBar, words: dict[Fraction, str]) -> HandoutBar:
    """Return a bar with one more row of words."""
    length = sum((column.length_beat for column in bar.columns), Fraction(0))
    old = {column.beat: column for column in bar.columns}
    rows = len(bar.columns[0].words)
    beats = sorted({*old, *words})
    ends = [*beats[1:], length]
    columns = []
    for beat, end in zip(beats, ends, strict=True):
        column = old.get(beat, Column(beat, Fraction(0), words=("",) * rows))
        columns.append(replace(column, length_beat=end - beat, words=(*column.words, words.get(beat, ""))))
    return replace(bar, columns=tuple(columns))
