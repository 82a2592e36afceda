"""Marks on a printed bar in MEI: dynamics, hairpins, breaths, fermatas, slowing down.

A mark that holds on every pass is printed by its sign. One that holds on some passes, or for one layer, is said in
words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from tercet.arranging import Arrangement
from tercet.publish.score.elements import Texts
from tercet.publish.score.written_form import WrittenBar, passes_in_words
from tercet.song import Mark, Measure

__all__ = ["add_marks"]

_IN_WORDS = {
    ("rit", ""): "rit.",
    ("a-tempo", ""): "a tempo",
    ("hairpin", "louder"): "louder",
    ("hairpin", "softer"): "softer",
    ("fermata", ""): "hold",
    ("accent", ""): "accent",
    ("breath", ""): "breathe",
}
"""What a mark is called where it can't be shown by its sign."""


@dataclass(frozen=True, slots=True)
class _Held:
    """A mark and the passes that it holds on; its place in beats from the printed bar's start."""

    mark: Mark
    at_beat: Fraction
    passes: tuple[int, ...]


def add_marks(
    written: Element, bar: WrittenBar, arrangement: Arrangement, texts: Texts, staff: str, *, dynamics: bool
) -> None:
    """Add the marks of a printed bar; without `dynamics` only those that change the time."""
    passes = tuple(measure.pass_number for measure in bar.playings)
    words: dict[tuple[tuple[int, ...], Fraction], list[str]] = {}
    for held in _held_marks(bar, arrangement):
        if not dynamics and held.mark.kind in ("dynamic", "hairpin", "accent"):
            continue
        always = held.passes == passes or held.mark.kind == "breath"
        if not (always and held.mark.layer is None and _add_sign(written, held, bar, arrangement, staff)):
            text = _in_words(held.mark)
            if text:
                words.setdefault(
                    (() if always else held.passes, held.at_beat if always else Fraction(0)), []
                ).append(text)
    for index, ((some, at_beat), said) in enumerate(words.items()):
        prefix = f"{passes_in_words(some)}: " if some else ""
        place = {"staff": staff, "tstamp": f"{float(at_beat) + 1:g}", "place": "above"}
        name = f"{written.attrib['xml:id']}w{index}"
        texts.put(SubElement(written, "dir", place), name, "remark", prefix + ", ".join(said))


def _held_marks(bar: WrittenBar, arrangement: Arrangement) -> Iterator[_Held]:
    """Yield the marks of all playings of a printed bar, equal ones once."""
    found: dict[tuple[Fraction, str, str, str | None], tuple[Mark, list[int]]] = {}
    for measure in bar.playings:
        for mark in _marks_in(measure, arrangement):
            key = (mark.at_beat - measure.low_beat, mark.kind, mark.value, mark.layer)
            passes = found.setdefault(key, (mark, []))[1]
            if measure.pass_number not in passes:
                passes.append(measure.pass_number)
    for (at_beat, *_), (mark, passes) in found.items():
        yield _Held(mark, at_beat, tuple(passes))


def _marks_in(measure: Measure, arrangement: Arrangement) -> Iterator[Mark]:
    """Yield the marks of a measure; a breath belongs to the note before it, so one at its very end is of it."""
    bar = arrangement.bars[measure.bar_index]
    for mark in bar.marks:
        if mark.kind == "breath":
            if measure.low_beat < mark.at_beat <= measure.high_beat:
                yield mark
        elif measure.low_beat <= mark.at_beat < measure.high_beat:
            yield mark
    if measure.high_beat == bar.length_beat and measure.bar_index + 1 < len(arrangement.bars):
        for mark in arrangement.bars[measure.bar_index + 1].marks:
            if mark.kind == "breath" and mark.at_beat == 0:
                yield replace(mark, at_beat=bar.length_beat)


def _in_words(mark: Mark) -> str:
    text = mark.value if mark.kind == "dynamic" else _IN_WORDS[mark.kind, mark.value]
    return f"{mark.layer} {text}" if mark.layer else text


def _add_sign(written: Element, held: _Held, bar: WrittenBar, arrangement: Arrangement, staff: str) -> bool:
    """Add a mark by its sign; False where it has none, and is to be said in words."""
    place = {"staff": staff, "tstamp": f"{float(held.at_beat) + 1:g}"}
    match held.mark.kind:
        case "dynamic":
            SubElement(written, "dynam", place | {"place": "below"}).text = held.mark.value
        case "hairpin":
            form = "cres" if held.mark.value == "louder" else "dim"
            end = _hairpin_end(bar.printed, held.mark, arrangement)
            SubElement(written, "hairpin", place | {"place": "below", "form": form, "tstamp2": end})
        case "fermata":
            SubElement(written, "fermata", place | {"place": "above"})
        case "breath":
            SubElement(written, "breath", place | {"tstamp": f"{float(held.at_beat) + 0.9:g}"})
        case "accent":
            return any(
                note.start_beat == held.mark.at_beat
                for note in arrangement.bars[bar.printed.bar_index].melody
            )
        case _:
            return False
    return True


def _hairpin_end(measure: Measure, mark: Mark, arrangement: Arrangement) -> str:
    """Return where a hairpin ends, as MEI counts: bars from here, and a place there.

    It ends at the next mark of level for its layer, but within the playing of its section.
    """
    bars = arrangement.bars
    measures = 0
    for index in range(measure.bar_index, len(bars)):
        bar = bars[index]
        if index > measure.bar_index:
            if (bar.section, bar.pass_number) != (measure.section, measure.pass_number):
                break
            measures += 1
        low_beat = measure.low_beat if index == measure.bar_index else Fraction(0)
        for other in bar.marks:
            later = index > measure.bar_index or other.at_beat > mark.at_beat
            if later and other.kind in ("dynamic", "hairpin") and other.layer == mark.layer:
                if other.at_beat >= bar.pickup_from > low_beat:
                    return f"{measures}m+{float(bar.pickup_from) + 0.9:g}"
                if other.at_beat == 0 and measures:
                    before = bars[index - 1]
                    return f"{measures - 1}m+{float(before.length_beat) + 0.9:g}"
                return f"{measures}m+{float(other.at_beat - low_beat) + 0.9:g}"
    end = bars[measure.bar_index + measures]
    last_beat = measure.length_beat if not measures else end.pickup_from or end.length_beat
    return f"{measures}m+{float(last_beat) + 0.9:g}"
