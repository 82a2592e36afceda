"""How a part is held and struck, measured from its strokes as plain values; nothing of Tercet's own reckoning is used.

A part is a list of strokes in order, each a mapping: ``onset_s``, ``length_s``, ``action`` (roll, single, strum, chop),
``tune`` (whether it plays a note of the tune), ``strings`` (struck, in order, the tune's last), ``midis`` (of those),
``shape`` (frets, string 4 first), ``fingers`` (the same; empty where they aren't told), ``chord`` (its name, empty for
none), ``span`` (a number for each stretch of one chord) and ``bar`` (a key that equal bars share, and which bar it is).
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any

__all__ = ["TAUGHT", "Figures", "measured"]

Stroke = Mapping[str, Any]

# fmt: off
TAUGHT = {
    "0003": "0003", "2010": "2010", "0212": "0213", "0232": "0132", "2000": "2000", "2210": "2310", "2220": "1230",
    "2100": "2100", "0100": "0100", "2223": "1112", "1202": "1203", "0432": "0321", "0231": "0231", "3211": "3211",
    "0001": "0001", "1013": "1024", "2322": "1211",
}
NAMES = ("C", "F", "G7", "G", "Am", "Dm", "D", "A", "A7", "D7", "E7", "Em", "Gm", "Bb", "C7", "Fm", "B7")
KINDS = {
    "": (0, 4, 7), "m": (0, 3, 7), "7": (0, 4, 7, 10), "m7": (0, 3, 7, 10), "maj7": (0, 4, 7, 11), "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9), "dim": (0, 3, 6), "dim7": (0, 3, 6, 9), "aug": (0, 4, 8), "m7b5": (0, 3, 6, 10),
    "sus4": (0, 5, 7), "sus2": (0, 2, 7), "7sus4": (0, 5, 7, 10), "9": (0, 4, 7, 10, 14), "add9": (0, 4, 7, 14),
}
# fmt: on
TAUGHT_BY_NAME = {name: tuple(map(int, shape)) for name, shape in zip(NAMES, TAUGHT, strict=True)}
"""The shape that is taught for a chord, on strings that lie as far apart as G-C-E-A."""

EASY_FRETS = 2
"""From the lowest fret of the taught shapes to their highest there are no more; further is a stretch."""

LEAST_S = {"beginner": 0.8, "improving": 0.4}
"""In less time nobody is asked to set three fingers."""

REACH = {"beginner": (4, 3), "improving": (5, 4), "free": (12, 4)}
"""The highest fret under a roll, and fingers at once."""

LONG_S = 0.25
"""A note that lasts so long leaves time for a roll."""

_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass
class Figures:
    """Counts over some parts: how often something was found, and among how many."""

    found: Counter[str] = field(default_factory=Counter)
    among: Counter[str] = field(default_factory=Counter)

    def count(self, name: str, found: bool) -> None:
        """Count one case."""
        self.found[name] += found
        self.among[name] += 1

    def add(self, other: Figures) -> None:
        """Take the counts of other parts in."""
        self.found.update(other.found)
        self.among.update(other.among)

    def percent(self, name: str) -> float:
        """Return the share found; 0 where there was nothing to find."""
        return 100 * self.found[name] / self.among[name] if self.among[name] else 0.0


def tones(chord: str) -> tuple[int, ...]:
    """Return the pitch classes of a chord, root and third first; none for a name that isn't in the table."""
    match = re.fullmatch(r"([A-G])([#b]?)([^/]*)(?:/.*)?", chord)
    if match is None or match[3] not in KINDS:
        return ()
    root = _LETTERS[match[1]] + {"#": 1, "b": -1, "": 0}[match[2]]
    return tuple((root + interval) % 12 for interval in KINDS[match[3]])


def measured(strokes: Sequence[Stroke], open_midis: Sequence[int], players: str) -> Figures:
    """Return what is found in one part.

    Parameters
    ----------
    strokes
        In order.
    open_midis
        The open strings, string 4 first.
    players
        beginner, improving or free.
    """
    figures = Figures()
    figures.found["rolls"] = sum(stroke["action"] == "roll" for stroke in strokes)
    _count_fingers(figures, strokes)
    _count_changes(figures, strokes, players)
    _count_grips(figures, strokes)
    _count_shapes(figures, strokes, open_midis)
    _count_single_notes(figures, strokes, open_midis)
    _count_harmony(figures, strokes, open_midis, players)
    _count_equal_bars(figures, strokes)
    return figures


def _text(digits: Sequence[int | None]) -> str:
    return "".join("x" if digit is None else str(digit) for digit in digits)


def _count_fingers(figures: Figures, strokes: Sequence[Stroke]) -> None:
    used: dict[str, Counter[str]] = defaultdict(Counter)
    for stroke in strokes:
        shape = _text(stroke["shape"])
        if stroke["fingers"] and any(stroke["shape"]):
            used[shape][_text(stroke["fingers"])] += 1
            if shape in TAUGHT:
                figures.count("untaught fingers", _text(stroke["fingers"]) != TAUGHT[shape])
    for fingerings in used.values():
        usual = max(fingerings.values())
        figures.found["other fingering"] += fingerings.total() - usual
        figures.among["other fingering"] += fingerings.total()


def _places(stroke: Stroke) -> dict[int, set[tuple[int, int]]]:
    places: dict[int, set[tuple[int, int]]] = defaultdict(set)
    for column, (finger, fret) in enumerate(zip(stroke["fingers"], stroke["shape"], strict=True)):
        if finger:
            places[finger].add((column, fret))
    return places


def _count_changes(figures: Figures, strokes: Sequence[Stroke], players: str) -> None:
    held = [stroke for stroke in strokes if stroke["fingers"]]
    for before, after in pairwise(held):
        old, new = _places(before), _places(after)
        moved = sum(not places <= old.get(finger, set()) for finger, places in new.items())
        if moved >= 3:
            time_s = after["onset_s"] - before["onset_s"]
            figures.count("hasty change", time_s < LEAST_S.get(players, 0.0) - 1e-6)


def _count_grips(figures: Figures, strokes: Sequence[Stroke]) -> None:
    """Fingers that are set for one note alone and aren't needed for it; a shape that players know stays one.

    A finger that lies flat across strings is one finger.
    """
    for index, stroke in enumerate(strokes):
        if not stroke["tune"]:
            continue
        beside = [strokes[place]["shape"] for place in (index - 1, index + 1) if 0 <= place < len(strokes)]
        idle = [
            column
            for column, fret in enumerate(stroke["shape"])
            if fret and 4 - column not in stroke["strings"] and all(other[column] != fret for other in beside)
        ]
        pressed = {column for column, fret in enumerate(stroke["shape"]) if fret}
        set_down = {*stroke["fingers"]} - {0} or pressed
        figures.count(
            "grip for one note",
            bool(idle) and len(set_down) >= 3 and _text(stroke["shape"]) not in TAUGHT,
        )


def _count_shapes(figures: Figures, strokes: Sequence[Stroke], open_midis: Sequence[int]) -> None:
    """Notes under another shape than the chord's taught one, where that has all notes of the tune in the bar.

    A finger that the shape has and the stroke doesn't need may be off; none may lie elsewhere. On string 4 the shape
    has a note only if it is open there: a tune isn't looked for on a high string that is pressed.
    """
    bars: dict[Any, list[Stroke]] = defaultdict(list)
    for stroke in strokes:
        if stroke["tune"] and stroke["chord"] in TAUGHT_BY_NAME:
            bars[stroke["bar"], stroke["span"]].append(stroke)
    for inside in bars.values():
        taught = TAUGHT_BY_NAME[inside[0]["chord"]]
        sounding = [midi + fret for midi, fret in zip(open_midis, taught, strict=True)]
        if any(stroke["midis"][-1] not in sounding[taught[0] > 0 :] for stroke in inside):
            continue
        for stroke in inside:
            if stroke["action"] == "roll" and not _rolls_out(sounding, stroke["midis"][-1]):
                continue
            struck = (4 - string for string in stroke["strings"])
            other = any(stroke["shape"][column] != taught[column] for column in struck)
            astray = any(fret and fret != usual for fret, usual in zip(stroke["shape"], taught, strict=True))
            figures.count("other than taught", other or astray)


def _rolls_out(sounding: Sequence[int], tune: int) -> bool:
    """Whether a roll over the strings of a shape may stop at a note and have it on top."""
    return any(
        midi == tune and sounding[column - 1] <= tune for column, midi in enumerate(sounding) if column
    )


def _count_single_notes(figures: Figures, strokes: Sequence[Stroke], open_midis: Sequence[int]) -> None:
    """Single notes that are fretted for themselves where an open string has them, or stretch a hand without need.

    There is no need where another string has the note further down, or where a finger lies far off that neither the
    stroke before nor the one after uses. String 4 isn't asked: a tune isn't looked for on a high one.
    """
    for index, stroke in enumerate(strokes):
        if not stroke["tune"] or stroke["action"] != "single":
            continue
        shape, column, midi = stroke["shape"], 4 - stroke["strings"][0], stroke["midis"][0]
        beside = [other["shape"] for step in (-1, 1) if (other := _other_beside(strokes, index, step))]
        new = [
            place for place, fret in enumerate(shape) if fret and all(each[place] != fret for each in beside)
        ]
        lowest = min((midi - each for each in open_midis[1:] if midi >= each), default=shape[column])
        pressed = [fret for fret in shape if fret]
        stretched = bool(pressed) and max(pressed) - min(pressed) > EASY_FRETS
        figures.count(
            "stretch beyond need",
            (column in new and shape[column] > lowest == 0)
            or (stretched and column in new and shape[column] > lowest)
            or (stretched and any(place != column for place in new)),
        )


def _other_beside(strokes: Sequence[Stroke], index: int, step: int) -> Stroke | None:
    """Return the next stroke before or after one that isn't the same single note again."""
    same = strokes[index]["midis"]
    place = index + step
    while 0 <= place < len(strokes) and strokes[place]["midis"] == same:
        place += step
    return strokes[place] if 0 <= place < len(strokes) else None


def _count_harmony(
    figures: Figures, strokes: Sequence[Stroke], open_midis: Sequence[int], players: str
) -> None:
    together: dict[Any, bool] = {}
    could: Counter[Any] = Counter()
    size = Counter(stroke["span"] for stroke in strokes)
    for stroke in strokes:
        chord = tones(stroke["chord"])
        if not chord:
            continue
        struck = {midi % 12 for midi in stroke["midis"]}
        together.setdefault(stroke["span"], False)
        together[stroke["span"]] |= len(struck.intersection(chord)) > 1
        if stroke["tune"] and stroke["length_s"] >= LONG_S and not could[stroke["span"]]:
            pairs = _rolls_to(stroke, chord, open_midis, players)
            could[stroke["span"]] += any(len(sounds.intersection(chord)) > 1 for sounds in pairs)
        if stroke["action"] != "roll":
            continue
        third = chord[1] in struck
        figures.count("thirdless", not third)
        avoidable = not third and any(
            chord[1] in sounds for sounds in _rolls_to(stroke, chord, open_midis, players)
        )
        figures.count("thirdless, avoidable", avoidable)
        if len(chord) == 4 and (chord[3] - chord[0]) % 12 in (10, 11):
            figures.count("seventh missing", chord[3] not in struck)
    for span, found in together.items():
        figures.count("no two tones together", not found)
        figures.count("no two tones, avoidable", not found and size[span] > 1 and could[span] > 0)


def _rolls_to(
    stroke: Stroke, chord: Sequence[int], open_midis: Sequence[int], players: str
) -> Iterator[set[int]]:
    """Yield what the rolls sound in which these players may reach a note: under it tones of the chord, none above."""
    highest, most_fingers = REACH[players]
    tune = stroke["midis"][-1]
    for stop in (1, 2, 3):
        fret = tune - open_midis[stop]
        if not 0 <= fret <= highest:
            continue
        for start in range(min(stop, 2)):
            under = [
                [each for each in range(highest + 1) if _suits(open_midis[column] + each, tune, chord)]
                for column in range(start, stop)
            ]
            for frets in product(*under):
                pressed = [each for each in (*frets, fret) if each]
                sounds = {(open_midis[start + place] + each) % 12 for place, each in enumerate(frets)}
                near = not pressed or max(pressed) - min(pressed) < 4
                if near and len(pressed) <= most_fingers:
                    yield sounds | {tune % 12}


def _suits(midi: int, tune: int, chord: Sequence[int]) -> bool:
    return midi <= tune and midi % 12 in chord


def _count_equal_bars(figures: Figures, strokes: Sequence[Stroke]) -> None:
    """Equal bars whose neighbours are equal too are played as the first of them is."""
    played: dict[Any, dict[Any, list[object]]] = defaultdict(lambda: defaultdict(list))
    for stroke in strokes:
        if stroke["tune"]:
            key, playing = stroke["bar"]
            played[key][playing].append((tuple(stroke["shape"]), tuple(stroke["strings"])))
    for playings in played.values():
        first, *others = playings.values()
        for other in others:
            figures.count("equal bar, other hand", other != first)
