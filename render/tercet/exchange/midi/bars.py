"""A line of MIDI notes cut into measures: bar lines as the meters make them, silence before the tune, equal verses."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

from tercet.exchange.leadsheet import LeadChord, LeadMeasure, LeadNote
from tercet.exchange.midi.folding import folded

__all__ = ["Line", "measures_of", "nearest"]

Meters = Sequence[tuple[Fraction, tuple[int, int]]]

_USUAL = (4, 4)
_LARGEST_UPPER, _LARGEST_LOWER = 64, 32
_MOST_SILENT_BARS = 4
"""Before the tune, while chords sound: more is left out."""

_COUNTED: Mapping[int, tuple[int, ...]] = {2: (2, 3), 4: (4, 3), 8: (6, 4, 3), 16: (6, 4)}
"""By the lower figure of a meter of one beat, how many beats real bars may have, the most usual first."""

_CLEARLY = 1.1
"""How much stronger the bar lines of a less usual meter must be."""

_LONGEST_WEIGHT = Fraction(3)


@dataclass(frozen=True, slots=True)
class Line:
    """A tune on one line of time: notes and chords, where sections and lines of words begin."""

    notes: Sequence[LeadNote]
    chords: Sequence[LeadChord]
    sections: Mapping[Fraction, str]
    lines: Sequence[Fraction] = field(default=())

    @property
    def end_quarter(self) -> Fraction:
        """Where the last note ends."""
        return max(note.end_quarter for note in self.notes)


@dataclass(frozen=True, slots=True)
class _Bar:
    """Where a measure starts and ends, its number and its meter."""

    low: Fraction
    high: Fraction
    number: int
    meter: tuple[int, int]


def measures_of(line: Line, meters: Meters, remarks: list[str]) -> tuple[LeadMeasure, ...]:
    """Return the measures of a tune; what is changed on the way is said in `remarks`."""
    known: Meters = [(at, meter) for at, meter in meters if _may_be(meter)]
    if len(known) < len(meters):
        remarks.append("a meter that songs can't have is left out")
    if not known:
        remarks.append("no meter given: 4/4 assumed")
        known = [(Fraction(0), _USUAL)]
    upbeat = Fraction(0)
    if all(upper == 1 for _, (upper, _) in known):
        known, upbeat = _counted_out(line, known[0][1][1], remarks)
    bars = list(_bars(line.end_quarter, known, upbeat))
    bars = _from_the_tune(bars, line, remarks)
    sections = dict(line.sections)
    if not any(bars[0].low < at for at in sections):
        edges = _even_edges(bars)
        sections = {**folded(line.notes, line.chords, edges, remarks), **sections} if edges else sections
    cut = list(_cut_at(bars, sorted(sections)))
    lows = [bar.low for bar in cut]
    starts = {lows[nearest(lows, place)] for place in line.lines}
    return tuple(_filled(cut, line, sections, starts))


def _may_be(meter: tuple[int, int]) -> bool:
    return meter[0] <= _LARGEST_UPPER and meter[1] <= _LARGEST_LOWER


# ---- bar lines


def _bars(end: Fraction, meters: Meters, upbeat: Fraction) -> Iterator[_Bar]:
    """Yield the measures that the meters make; a first one that alone has a shorter meter is a pick-up."""
    low, number, next_meter = Fraction(0), 1, 0
    meter = meters[0][1]
    pickup_until = meters[1][0] if _is_pickup(meters) else Fraction(0)
    if upbeat:
        yield _Bar(low, upbeat, number, meter)
        low, number = upbeat, 2
    while low < end:
        while next_meter < len(meters) and meters[next_meter][0] <= low:
            meter = meters[next_meter][1]
            next_meter += 1
        high = low + Fraction(4 * meter[0], meter[1])
        yield _Bar(low, high, number, meters[1][1] if low < pickup_until else meter)
        low, number = high, number + 1


def _is_pickup(meters: Meters) -> bool:
    """Return whether the first meter lasts for one bar, shorter than those after it."""
    if len(meters) < 2:
        return False
    (first, before), (second, after) = meters[:2]
    return second - first == Fraction(4 * before[0], before[1]) < Fraction(4 * after[0], after[1])


def _counted_out(line: Line, lower: int, remarks: list[str]) -> tuple[Meters, Fraction]:
    """Return a meter for a tune whose file has a bar line at every beat, and how long its pick-up is.

    Bar lines stand where the longest notes begin and chords change.
    """
    beat = Fraction(4, lower)
    weights: dict[Fraction, Fraction] = {}
    for note in line.notes:
        weights[note.start_quarter] = min(note.length_quarter / beat, _LONGEST_WEIGHT)
    for chord in line.chords:
        weights[chord.start_quarter] = weights.get(chord.start_quarter, Fraction(0)) + 1
    beats = int(line.end_quarter / beat) + 1
    strengths = {
        (count, phase): _strength(weights, beat, count, phase, beats)
        for count in _COUNTED.get(lower, (4, 3))
        for phase in range(count)
    }
    usual = max(
        (each for each in strengths if each[0] == next(iter(strengths))[0]), key=lambda each: strengths[each]
    )
    best = max(strengths, key=lambda each: strengths[each])
    count, phase = best if strengths[best] > _CLEARLY * strengths[usual] else usual
    remarks.append(
        f"the file says 1/{lower}, a bar line at every beat: {count}/{lower} is written, with bar lines where long "
        "notes begin and chords change"
    )
    return [(Fraction(0), (count, lower))], phase * beat


def _strength(
    weights: Mapping[Fraction, Fraction], beat: Fraction, count: int, phase: int, beats: int
) -> float:
    """Return how much begins at the bar lines of so many beats, on average."""
    lines = range(phase, beats, count)
    return float(sum(weights.get(index * beat, Fraction(0)) for index in lines)) / max(len(lines), 1)


# ---- silence before the tune


def _from_the_tune(bars: list[_Bar], line: Line, remarks: list[str]) -> list[_Bar]:
    """Return the measures from the tune on, a first one that mostly rests turned into a pick-up."""
    first = line.notes[0].start_quarter
    sounding = min((chord.start_quarter for chord in line.chords if chord.chord), default=first)
    silent = sum(bar.high <= first for bar in bars)
    before_all = sum(bar.high <= min(first, sounding) for bar in bars)
    left_out = silent if silent > _MOST_SILENT_BARS else before_all
    if left_out:
        named = f"the first {left_out} bars" if left_out > 1 else "the first bar"
        silence = "nothing sounds" if left_out <= before_all else "the tune is silent"
        remarks.append(f"{named}, in which {silence}, {'are' if left_out > 1 else 'is'} left out")
    kept = bars[left_out:]
    opening = kept[0]
    rest = first - opening.low
    if len(kept) > 1 and 2 * rest >= opening.high - opening.low and not opening.low <= sounding < first:
        kept[0] = replace(opening, low=first)
    return kept


# ---- sections and lines


def _even_edges(bars: Sequence[_Bar]) -> list[Fraction]:
    """Return where the bars of a tune in one meter begin, its pick-up taken along; nothing if its meter changes."""
    if any(bar.meter != bars[-1].meter for bar in bars):
        return []
    lengths = {bar.high - bar.low for bar in bars[1:]}
    if len(lengths) != 1:
        return []
    (length,) = lengths
    pickup = bars[0].high - bars[0].low
    count = len(bars) - (1 if pickup < length else 0)
    return [bars[0].low + index * length for index in range(count + 1)]


def _cut_at(bars: Sequence[_Bar], places: Sequence[Fraction]) -> Iterator[_Bar]:
    """Yield the measures, cut where a section begins within one."""
    for bar in bars:
        inside = places[bisect_left(places, bar.low) : bisect_left(places, bar.high)]
        edges = sorted({bar.low, *inside, bar.high})
        for low, high in pairwise(edges):
            yield replace(bar, low=low, high=high)


def nearest(starts: Sequence[Fraction], place: Fraction) -> int:
    """Return the index of the start nearest to a place, of two as near the later."""
    index = bisect_left(starts, place)
    near = [each for each in (index, index - 1) if 0 <= each < len(starts)]
    return min(near, key=lambda each: abs(starts[each] - place))


def _filled(
    bars: Sequence[_Bar], line: Line, sections: Mapping[Fraction, str], lines: set[Fraction]
) -> Iterator[LeadMeasure]:
    """Yield the measures with what stands in them."""
    starts = [note.start_quarter for note in line.notes]
    chord_starts = [chord.start_quarter for chord in line.chords]
    for index, bar in enumerate(bars):
        from_note = max(bisect_left(starts, bar.low) - 1, 0)
        notes = line.notes[from_note : bisect_left(starts, bar.high)]
        chords = list(line.chords[bisect_left(chord_starts, bar.low) : bisect_left(chord_starts, bar.high)])
        if index == 0 and not (chords and chords[0].start_quarter == bar.low):
            earlier = line.chords[: bisect_left(chord_starts, bar.low)]
            chords[:0] = [replace(earlier[-1], start_quarter=bar.low)] if earlier else []
        yield LeadMeasure(
            str(bar.number),
            bar.high - bar.low,
            bar.meter,
            tuple(_cut(notes, bar.low, bar.high)),
            tuple(replace(chord, start_quarter=chord.start_quarter - bar.low) for chord in chords),
            section=sections.get(bar.low, ""),
            new_line=bar.low in lines,
        )


def _cut(notes: Sequence[LeadNote], low: Fraction, high: Fraction) -> Iterator[LeadNote]:
    for note in notes:
        end = note.end_quarter
        if end > low:
            start = max(note.start_quarter, low)
            words = note.words if note.start_quarter >= low else ()
            yield LeadNote(start - low, min(end, high) - start, note.pitch, tied_on=end > high, words=words)
