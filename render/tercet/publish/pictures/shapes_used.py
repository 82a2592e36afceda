"""Shapes used: every chord shape that an arrangement rolls or strums, in the order in which a class meets them.

A shape is listed once under each chord name. Single notes don't count: they are read from the tab.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from tercet.arranging import Arrangement, Gesture
from tercet.neck.demands import LIMITS, Hands
from tercet.neck.priced_hands import hands_up_to
from tercet.song import Bar, played_visits

__all__ = ["LineShapes", "ShapeUse", "chord_at", "shapes_by_line", "shapes_used"]

Frets = tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class ShapeUse:
    """A shape under a chord.

    Parameters
    ----------
    chord
        Name of the chord that is played with it, such as ``Am``; empty where there is none (N.C.).
    frets
        String 4 first; 0 is open, None a string that is damped or left out.
    fingers
        For each string the finger on it: 0 none, 1 index to 4 little. Those of the tune where it holds the shape too,
        else those that the song sets on it, else the most usual ones that these players can set; empty where no hand
        can.
    tune_strings
        Strings that hold the tune at some time while the shape is used, in falling order, each 1 to 4.
    """

    chord: str
    frets: Frets
    fingers: tuple[int, ...] = ()
    tune_strings: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class LineShapes:
    """The bars of one line of music as played, and the shapes used in them."""

    bars: tuple[Bar, ...]
    shapes: tuple[ShapeUse, ...]


def shapes_used(arrangement: Arrangement, bar_numbers: Collection[int] | None = None) -> tuple[ShapeUse, ...]:
    """Return the shapes of an arrangement in the order of first use.

    Parameters
    ----------
    arrangement
        What is played.
    bar_numbers
        Numbers of the bars to look at; all of them without.
    """
    gestures = [
        each for each in arrangement.gestures if bar_numbers is None or each.bar_number in bar_numbers
    ]
    return _listed(gestures, arrangement, _fingers_by_shape(arrangement))


def shapes_by_line(arrangement: Arrangement) -> tuple[LineShapes, ...]:
    """Return the shapes of each line of music, line by line as played."""
    fingers = _fingers_by_shape(arrangement)

    def used_in(bars: Sequence[Bar]) -> tuple[ShapeUse, ...]:
        gestures = [gesture for bar in bars for gesture in arrangement.by_bar[bar.number]]
        return _listed(gestures, arrangement, fingers)

    lines = (line for visit in played_visits(arrangement.bars) for line in visit.lines)
    return tuple(LineShapes(line, used_in(line)) for line in lines)


def chord_at(gesture: Gesture, bar: Bar) -> str:
    """Return the name of the chord that a gesture of a bar is played under, empty for none."""
    span = bar.chord_at(gesture.start_beat)
    return str(span.chord) if span is not None and span.chord else ""


def _written_fingers(gesture: Gesture, bar: Bar) -> tuple[int, ...]:
    """Return the fingers that the song sets on the shape of a gesture; empty where it sets none."""
    span = bar.chord_at(gesture.start_beat)
    return span.fingers or () if span is not None and span.shape == gesture.shape else ()


def _fingers_by_shape(arrangement: Arrangement) -> dict[Frets, tuple[int, ...]]:
    """Return for each shape the fingers that first hold it: a strum keeps what the tune holds."""
    known: dict[Frets, tuple[int, ...]] = {}
    for gesture in arrangement.gestures:
        if len(gesture.fingers) == 4:
            known.setdefault(gesture.shape, gesture.fingers)
    for gesture in arrangement.gestures:
        if len(gesture.shape) == 4 and gesture.shape not in known:
            known[gesture.shape] = _usual_fingers(gesture.shape, arrangement)
    return known


def _usual_fingers(frets: Frets, arrangement: Arrangement) -> tuple[int, ...]:
    """Return the fingers with which a shape is usually held; empty if no hand can be set so."""
    song = arrangement.song
    hands = Hands(arrangement.tuning, song.scale_length_mm, LIMITS[song.players])
    shape = tuple(fret or 0 for fret in frets)
    hand = hands_up_to(hands, *shape).usual_hand(shape)
    return hand.fingers if hand is not None else ()


def _listed(
    gestures: Iterable[Gesture], arrangement: Arrangement, known: dict[Frets, tuple[int, ...]]
) -> tuple[ShapeUse, ...]:
    bars = {bar.number: bar for bar in arrangement.bars}
    uses: dict[tuple[str, Frets], ShapeUse] = {}
    for gesture in gestures:
        if gesture.action == "single" or len(gesture.shape) != 4:
            continue
        key = chord_at(gesture, bars[gesture.bar_number]), gesture.shape
        written = _written_fingers(gesture, bars[gesture.bar_number])
        fingers = gesture.fingers or written or known.get(gesture.shape, ())
        use = uses.setdefault(key, ShapeUse(*key, fingers))
        tune = {note.string for note in gesture.notes if note.part == "tune"}
        if not tune <= set(use.tune_strings):
            strings = tuple(sorted(tune.union(use.tune_strings), reverse=True))
            uses[key] = replace(use, tune_strings=strings)
    return tuple(uses.values())
