"""Other ways to play a note of the tune, and what mends a hard place: each tried on the whole song.

A way is a pin, or another octave, in the song itself, and the section is arranged anew with it. So what is offered can
be played, and what it does is told by the same report as all else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from tercet.arranging.arranger import arrange
from tercet.arranging.model import Arrangement, Gesture
from tercet.arranging.report import report_of
from tercet.errors import ParameterError, RequestError
from tercet.song import Note, Pin, Row, Section, Song, Source, Visit, parse_song, played_bars
from tercet.song.writer import moved_text, pinned_text
from tercet.theory import LAST_FRET

__all__ = ["OtherWay", "remedies_of", "ways_to_play"]

MOST_REMEDIES = 2
MOST_TRIED = 6
"""Notes of a bar."""

COSTS = {"unplayable": 40.0, "problem": 8.0, "masked": 4.0}
"""What speaks against a bar, in the units of `report.HARDNESS`; its hardness is added."""

TELLING_COST = 0.5
"""A remedy must lessen what speaks against a bar by as much at least: half a finger more or less is no remedy."""


@dataclass(frozen=True, slots=True)
class OtherWay:
    """A way to play a note.

    Parameters
    ----------
    about
        What it is: ``roll over strings 4 3 2``.
    text
        The whole file with it.
    cost
        What speaks against its bar then: less is easier.
    """

    about: str
    text: str
    cost: float


def ways_to_play(text: str, source: Source, file: str = "song.yaml") -> tuple[OtherWay, ...]:
    """Return the ways in which a note of the tune can be played, the easiest first.

    Every string that has the note, alone or under a roll from any string above it, as far as hands can do it.

    Parameters
    ----------
    text
        What the arrangement file holds.
    source
        Where the note stands in it.
    file
        What to call it in messages.

    Raises
    ------
    SongError
        The text has mistakes.
    RequestError
        No note of the tune is struck there.
    """
    song = parse_song(text, file)
    section = next((section for section in song.sections if _stands_in(source, section)), None)
    passage = _Passage(song, section.name) if section is not None else None
    gesture = passage.gesture_at(source) if passage is not None else None
    if passage is None or gesture is None:
        raise RequestError("no note of the tune is struck here")
    tried = passage.tried(gesture, _pins(passage.arrangement, gesture))
    ways = sorted(tried, key=lambda way: way.cost)
    return tuple(way.written(text, song, file) for way in ways)


def remedies_of(text: str, bar_index: int, file: str = "song.yaml") -> tuple[OtherWay, ...]:
    """Return the two changes that help most with a bar, the best first; none where nothing found helps.

    Parameters
    ----------
    text, file
        As above.
    bar_index
        Of the bar in the piece as played.

    Raises
    ------
    SongError
        The text has mistakes.
    ParameterError
        There is no such bar.
    """
    song = parse_song(text, file)
    bars = played_bars(song)
    if not 0 <= bar_index < len(bars):
        raise ParameterError(f"bar_index must be 0 to {len(bars) - 1} (got {bar_index})")
    bar = bars[bar_index]
    if all(section.name != bar.section for section in song.sections):  # made of the song's chords
        return ()
    passage = _Passage(song, bar.section, bar.pass_number)
    number = next(
        each.number
        for each in passage.arrangement.bars
        if (each.pass_number, each.section_bar) == (bar.pass_number, bar.section_bar)
    )
    cost = _cost_of_bar(passage.arrangement, number)
    found: list[_Way] = []
    for gesture, changes in _worth_trying(passage.arrangement, number):
        found += passage.tried(gesture, changes)
    best = sorted((way for way in found if way.cost <= cost - TELLING_COST), key=lambda way: way.cost)
    return tuple(way.written(text, song, file) for way in best[:MOST_REMEDIES])


@dataclass(frozen=True, slots=True)
class _Change:
    """A change of one note: what it is, and a pin or so many octaves."""

    about: str
    pin: Pin | None = None
    octaves: int = 0

    def of(self, note: Note) -> Note:
        """Return the note changed."""
        if note.pitch is None or not self.octaves:
            return replace(note, pin=self.pin)
        return replace(note, pitch=replace(note.pitch, octave=note.pitch.octave + self.octaves), pin=None)


@dataclass(frozen=True, slots=True)
class _Way:
    """A change of a note that hands can do, and what speaks against its bar then."""

    change: _Change
    source: Source
    cost: float

    def written(self, text: str, song: Song, file: str) -> OtherWay:
        """Return it with the whole file."""
        if self.change.pin is not None:
            changed = pinned_text(text, {self.source: self.change.pin}, {}, file)
        else:
            changed = moved_text(text, _changed(song, self.source, self.change), file)
        return OtherWay(self.change.about, changed, self.cost)


class _Passage:
    """A section by itself, as it is played up to some pass: small enough to be arranged again and again."""

    def __init__(self, song: Song, section: str, pass_number: int = 1) -> None:
        passes = tuple(Visit(section, number + 1, number + 1 == pass_number) for number in range(pass_number))
        self._song = replace(song, form=passes, intro_bars=0, turnaround_bars=0, tag_bars=None)
        self.arrangement = arrange(self._song)

    def gesture_at(self, source: Source) -> Gesture | None:
        """Return the stroke of a note."""
        return next((gesture for gesture in self.arrangement.gestures if _same(gesture.source, source)), None)

    def tried(self, gesture: Gesture, changes: Iterable[_Change]) -> Iterator[_Way]:
        """Yield those changes of a note that hands can do as they say."""
        for change in changes:
            try:
                after = arrange(_changed(self._song, gesture.source, change))
            except (RequestError, ParameterError):
                continue
            played = next((each for each in after.gestures if _same(each.source, gesture.source)), None)
            strings = () if played is None else tuple(note.string for note in played.notes)
            if strings and (change.pin is None or strings == change.pin.strings):
                yield _Way(change, gesture.source, _cost_of_bar(after, gesture.bar_number))


def _stands_in(source: Source, section: Section) -> bool:
    lines = [row.source.line for line in section.lines for row in line.rows if row.name == "melody"]
    return source.line in lines


def _same(one: Source, other: Source) -> bool:
    return (one.line, one.column) == (other.line, other.column)


def _changed(song: Song, source: Source, change: _Change) -> Song:
    """Return a song with one note of its tune changed."""

    def cell(notes: tuple[Any, ...] | None) -> tuple[Any, ...] | None:
        return notes and tuple(change.of(note) if _same(note.source, source) else note for note in notes)

    def row(each: Row) -> Row:
        if each.name != "melody" or each.source.line != source.line:
            return each
        return replace(each, bars=tuple(map(cell, each.bars)), pickup=cell(each.pickup))

    sections = (
        replace(
            section, lines=tuple(replace(line, rows=tuple(map(row, line.rows))) for line in section.lines)
        )
        for section in song.sections
    )
    return replace(song, sections=tuple(sections))


def _worth_trying(arrangement: Arrangement, number: int) -> Iterator[tuple[Gesture, tuple[_Change, ...]]]:
    """Yield strokes of a bar's tune, and what may help: those that something is said of, without such the first few."""
    tune = [
        gesture
        for gesture in arrangement.by_bar[number]
        if gesture.source.line and gesture.notes[-1].part == "tune"
    ]
    places = {
        (problem.line, problem.column) for problem in arrangement.problems if problem.bar_number == number
    }
    told = [gesture for gesture in tune if (gesture.source.line, gesture.source.column) in places]
    masked = [gesture for gesture in tune if gesture.heard == "masked" and gesture not in told]
    for gesture in told:
        yield gesture, (*_OCTAVES, *_pins(arrangement, gesture))
    for gesture in masked or ([] if told else tune[:MOST_TRIED]):
        yield gesture, tuple(_pins(arrangement, gesture))


# ---- what may be changed


_OCTAVES = (
    _Change("this note an octave lower", octaves=-1),
    _Change("this note an octave higher", octaves=1),
)


def _pins(arrangement: Arrangement, gesture: Gesture) -> Iterator[_Change]:
    """Yield the other ways to strike a note's pitch."""
    struck = tuple(note.string for note in gesture.notes)
    for string, pitch in zip((4, 3, 2, 1), arrangement.tuning.open_pitches, strict=True):
        fret = gesture.notes[-1].midi - pitch.midi
        if not 0 <= fret <= LAST_FRET:
            continue
        where = f"string {string}, {f'fret {fret}' if fret else 'open'}"
        for first in range(4, string - 1, -1):
            strings = tuple(range(first, string - 1, -1))
            if strings == struck:
                continue
            if len(strings) == 1:
                yield _Change(f"alone on {where}", Pin("alone", strings))
            else:
                yield _Change(
                    f"roll {' '.join(map(str, strings))}, the tune on {where}", Pin("roll", strings)
                )


# ---- what speaks against a bar


def _cost_of_bar(arrangement: Arrangement, number: int) -> float:
    """Return what speaks against a bar and the change into the next."""
    numbers = {number, number + 1}
    cost = 0.0
    for problem in arrangement.problems:
        if problem.bar_number == number:
            cost += COSTS["unplayable" if problem.unplayable or problem.off_neck else "problem"]
    cost += COSTS["masked"] * sum(gesture.heard == "masked" for gesture in arrangement.by_bar[number])
    return cost + sum(bar.cost for bar in report_of(arrangement).hardest_bars if bar.bar_number in numbers)
