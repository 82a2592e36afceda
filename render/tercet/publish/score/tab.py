"""The tab of a printed bar in MEI: four lines, string 1 on top, and the strip under it.

Everything struck at one time is a column. A roll is marked by an arrow over exactly the strings that it strikes. The
strip has a row for strum signs, one for counting, one for the finger that presses the tune's string, and bar numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from xml.etree.ElementTree import Element, SubElement

from tercet.arranging import Arrangement, Gesture
from tercet.errors import ParameterError
from tercet.publish.score.elements import GestureIds, ScoreText, Texts
from tercet.publish.score.note_values import add_timed
from tercet.song import Measure, Meter
from tercet.theory import LAST_FRET

__all__ = ["Column", "add_anchors", "columns_of", "count_name", "fill_strip", "fill_tab", "strum_sign"]

_COUNTED = {Fraction(0): "", Fraction(1, 2): "&", Fraction(1, 4): "e", Fraction(3, 4): "a"}
"""How the parts of a beat are counted; others aren't spoken."""


@dataclass(frozen=True, slots=True)
class Column:
    """What is struck at one time of a printed bar.

    Parameters
    ----------
    at_beat, length_beat
        Place within the measure, and time until the next column or the measure's end.
    gestures
        Indices of the gestures that start here, and the gestures.
    """

    at_beat: Fraction
    length_beat: Fraction
    gestures: tuple[tuple[int, Gesture], ...]


def columns_of(measure: Measure, gestures: Sequence[tuple[int, Gesture]]) -> tuple[Column, ...]:
    """Return the columns of a measure, from the gestures that start within it, in order."""
    together = [
        (start - measure.start_beat, tuple(group))
        for start, group in groupby(gestures, key=lambda item: item[1].start_beat)
    ]
    places = [*(at for at, _ in together), measure.length_beat]
    return tuple(Column(at, end - at, group) for (at, group), end in zip(together, places[1:], strict=True))


def fill_tab(
    written: Element,
    layer: Element,
    columns: Sequence[Column],
    measure: Measure,
    arrangement: Arrangement,
    texts: Texts,
) -> dict[int, GestureIds]:
    """Fill the tab's layer of a printed bar, and return the names of its gestures' elements by their index.

    Raises
    ------
    ParameterError
        A string or fret that isn't there. (The engraver would end the whole process over it.)
    """
    name = written.attrib["xml:id"]
    whole = Fraction(1, arrangement.song.meter.lower)
    first = columns[0].at_beat if columns else measure.length_beat
    if first:
        add_timed(layer, first * whole, "space", {})
    ids: dict[int, GestureIds] = {}
    for place, column in enumerate(columns):
        column_name = f"{name}c{place}"
        digits = [(index, gesture) for index, gesture in column.gestures if gesture.action != "chop"]
        tag = "tabGrp" if digits else "space"
        group = add_timed(layer, column.length_beat * whole, tag, {"xml:id": column_name})
        _digits(group, digits, column_name, texts)
        for index, gesture in column.gestures:
            strings = tuple(f"{column_name}s{note.string}" for note in gesture.notes)
            chop = gesture.action == "chop"
            ids[index] = GestureIds(name, "" if chop else column_name, () if chop else strings)
            if gesture.action == "roll" and len(strings) > 1:
                plist = " ".join(f"#{string}" for string in strings)
                roll = {"xml:id": f"{column_name}r", "staff": "2", "plist": plist}
                SubElement(written, "arpeg", {**roll, "order": "up", "arrow": "true", "type": gesture.layer})
    return ids


def _digits(group: Element, gestures: Sequence[tuple[int, Gesture]], column_name: str, texts: Texts) -> None:
    """Add the digits of a column; where two gestures want one string, the nearer layer's has it.

    A digit with a sign, or a sign alone, takes the place of the digit that is drawn.
    """
    taken: set[int] = set()
    for _, gesture in gestures:
        for note in gesture.notes:
            if note.string in taken:
                continue
            taken.add(note.string)
            if not (1 <= note.string <= 4 and 0 <= (note.fret or 0) <= LAST_FRET + 12):
                raise ParameterError(f"no such place on the neck: string {note.string}, fret {note.fret}")
            name = f"{column_name}s{note.string}"
            if note.off_neck:
                texts.found[name] = ScoreText(
                    "sign", note.sign, label="" if note.fret is None else str(note.fret)
                )
            part = "under" if note.part == "chord" and gesture.action in ("roll", "single") else "struck"
            SubElement(
                group,
                "note",
                {
                    "xml:id": name,
                    "tab.course": str(note.string),
                    "tab.fret": str(note.fret or 0),
                    "type": f"{gesture.layer} {part}",
                },
            )


def fill_strip(
    anchors: Sequence[tuple[Column, Element]], measure: Measure, meter: Meter, texts: Texts
) -> dict[int, str]:
    """Fill the strip under a printed bar, and return the names of the strum signs by their gestures' index."""
    offset_beat = meter.bar_beat - measure.length_beat if measure.section_bar == 0 else Fraction(0)
    signs: dict[int, str] = {}
    for column, anchor in anchors:
        anchor_name = anchor.attrib["xml:id"]
        for index, gesture in column.gestures:
            if gesture.layer == "strums":
                signs[index] = f"{anchor_name}d"
                verse = SubElement(anchor, "verse", n="1")
                texts.put(SubElement(verse, "syl"), signs[index], "strum", strum_sign(gesture), "strum")
                break
        count = count_name(column.at_beat + offset_beat, meter)
        if count and column.gestures:
            verse = SubElement(anchor, "verse", n="2")
            texts.put(SubElement(verse, "syl"), f"{anchor_name}n", "count", count, "count")
        finger = next((_finger(gesture) for _, gesture in column.gestures if gesture.fingers), 0)
        if finger:
            verse = SubElement(anchor, "verse", n="3")
            texts.put(SubElement(verse, "syl"), f"{anchor_name}f", "finger", str(finger), "finger")
    return signs


def add_anchors(
    name: str, layer: Element, columns: Sequence[Column], measure: Measure, whole: Fraction
) -> list[tuple[Column, Element]]:
    """Add unseen notes to the strip, which texts hang on: one for each column, and one where the bar begins.

    They are called after their columns: ``m4k1`` stands under ``m4c1``; ``m4k`` where the bar begins without a stroke.
    """
    first_beat = columns[0].at_beat if columns else measure.length_beat
    named = [(f"{name}k{place}", column) for place, column in enumerate(columns)]
    if first_beat:
        named.insert(0, (f"{name}k", Column(Fraction(0), first_beat, ())))
    unseen = {"loc": "0", "head.visible": "false", "stem.visible": "false"}
    return [
        (column, add_timed(layer, column.length_beat * whole, "note", {"xml:id": anchor, **unseen}))
        for anchor, column in named
    ]


def strum_sign(gesture: Gesture) -> str:
    """Return a strum's sign, as song files write it: d down, u up, D and U with an accent, x chop."""
    if gesture.action == "chop":
        return "x"
    sign = "u" if gesture.up else "d"
    return sign.upper() if gesture.accent else sign


def count_name(beat: Fraction, meter: Meter) -> str:
    """Return what is counted at a place of a bar, in beats from its start: ``1``, ``&``, or nothing.

    Beats are counted, 6/8 as six; between them only halves and quarters have a name.
    """
    number, part = divmod(beat, 1)
    if part == 0:
        return str(int(number) + 1)
    return _COUNTED.get(part, "") if meter.lower < 16 else ""


def _finger(gesture: Gesture) -> int:
    """Return the finger on the string of a gesture's last note, 0 for none."""
    return gesture.fingers[4 - gesture.notes[-1].string]
