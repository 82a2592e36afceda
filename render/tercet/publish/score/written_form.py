"""The written form: which bars are printed, each exactly once, and which playings each printed bar stands for.

A section that comes again is printed once. Bars that are played otherwise on some passes stand under brackets with the
numbers of those passes, as first and second endings do; a pass that shares too little with what is printed is printed
on its own. Words and marks that differ don't count: they are written one below the other, or with the pass beside them.

The end of a bar that holds the pick-up of the section that follows is a printed bar of its own (a *measure*), so that
each section begins with its pick-up and repeats as on any printed sheet.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from tercet.arranging import Arrangement, Gesture
from tercet.song import Measure, played_visits
from tercet.wording import nth_time, ordinal

__all__ = ["Segment", "WrittenBar", "WrittenForm", "WrittenSection", "written_form"]

END = "end"
"""What is said where the piece ends."""

MOST_RUNS = 2
"""Brackets that a pass may add to a section; with more of them, the eye loses the way."""


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """A printed bar: its playings in order. The first of them is what is printed."""

    playings: tuple[Measure, ...]

    @property
    def printed(self) -> Measure:
        """The playing whose notes are printed."""
        return self.playings[0]


@dataclass(frozen=True, slots=True)
class Segment:
    """Printed bars in a row that are played on the same passes; under a bracket when other passes have other bars."""

    bars: tuple[WrittenBar, ...]
    passes: tuple[int, ...]
    ending: bool


@dataclass(frozen=True, slots=True)
class WrittenSection:
    """A section as printed.

    Parameters
    ----------
    name
        The section's name.
    visits, passes
        Which playings of the form it stands for, and their pass numbers.
    segments
        Its bars.
    alone
        Whether it stands for every pass of the section.
    repeat_start, repeat_times
        Whether a repeat begins before it; how often the music is played that a repeat sign at its end closes (1
        without one).
    then
        What to play next where that isn't plain from the page: by how often the section has been played, the name of
        what follows, or ``end``.
    """

    name: str
    visits: tuple[int, ...]
    passes: tuple[int, ...]
    segments: tuple[Segment, ...]
    alone: bool
    repeat_start: bool = False
    repeat_times: int = 1
    then: Mapping[int, str] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """The section's name, with the passes when it is printed more than once."""
        if self.alone:
            return self.name
        return f"{self.name}, {passes_in_words(self.passes)}"

    def then_after(self, passes: Sequence[int], *, repeated: bool) -> str:
        """Return in words where to go after some of its passes, in order; empty where that is plain.

        `repeated` says whether a repeat sign stands beside the words.
        """
        counts = [self.passes.index(number) + 1 for number in passes]
        here = [count for count in counts if count in self.then]
        if not here:
            return ""
        alike = here == counts and len({self.then[count] for count in here}) == 1
        if alike or (repeated and here == [counts[-1]]):
            where = self.then[here[-1]]
            return where if where == END else f"then: {where}"
        return "   ".join(f"{ordinal(count)} time: {self.then[count]}" for count in here)

    @property
    def bars(self) -> tuple[WrittenBar, ...]:
        """Its printed bars in order."""
        return tuple(bar for segment in self.segments for bar in segment.bars)


@dataclass(frozen=True, slots=True)
class WrittenForm:
    """All that is printed of a piece, and the order in which it is played.

    Parameters
    ----------
    sections
        In the order printed.
    order
        For each playing of the form, the index of the printed section.
    """

    sections: tuple[WrittenSection, ...]
    order: tuple[int, ...]

    @property
    def bars(self) -> tuple[WrittenBar, ...]:
        """All printed bars in the order printed."""
        return tuple(bar for section in self.sections for bar in section.bars)

    @property
    def in_words(self) -> str:
        """The form in words, such as ``refrain, verse twice, refrain``."""
        counted = dict.fromkeys(range(len(self.sections)), 0)
        names = []
        for index in self.order:
            section = self.sections[index]
            names.append(
                section.name if section.alone else f"{section.name} {section.passes[counted[index]]}"
            )
            counted[index] += 1
        groups = [(name, len(list(group))) for name, group in groupby(names)]
        return ", ".join(f"{name}{_TIMES.get(count, f' {count} times')}" for name, count in groups)


_TIMES = {1: "", 2: " twice"}


def passes_in_words(numbers: Sequence[int]) -> str:
    """Return pass numbers in words: ``second time``, ``first, second and fourth time``."""
    *others, last = map(nth_time, numbers)
    return f"{', '.join(other.removesuffix(' time') for other in others)} and {last}" if others else last


def listed(numbers: Sequence[int]) -> str:
    """Return pass numbers as they are printed: ``1.``, ``1. 3.``, or ``2. to 5.`` for four and more in a row."""
    if len(numbers) > 3 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]}. to {numbers[-1]}."
    return " ".join(f"{number}." for number in numbers)


def written_form(arrangement: Arrangement, *, as_played: bool = False) -> WrittenForm:
    """Return what is printed of an arrangement; `as_played` prints every playing of a section by itself.

    Every measure of the piece as played is a playing of exactly one printed bar, and sounds as that bar is printed.
    """
    visits = [visit.measures for visit in played_visits(arrangement.bars)]
    drafts: list[_Draft] = []
    order: list[int] = []
    starts = tuple(float(gesture.start_beat) for gesture in arrangement.gestures)
    for visit in visits:
        contents = [_content(measure, arrangement, starts) for measure in visit]
        shared = (index for index, draft in enumerate(drafts) if draft.takes(visit, contents))
        place = len(drafts) if as_played else next(shared, len(drafts))
        if place == len(drafts):
            drafts.append(_Draft(visit[-1].section))
        drafts[place].add(visit, contents)
        order.append(place)
    names = [draft.name for draft in drafts]
    repeats = _repeats_in(order)
    said = [
        name if names.count(name) == 1 else f"{name} {visit[-1].pass_number}"
        for visit, name in zip(visits, (names[place] for place in order), strict=True)
    ]
    return WrittenForm(
        tuple(
            WrittenSection(
                name=draft.name,
                visits=tuple(index for index, printed in enumerate(order) if printed == place),
                passes=tuple(draft.passes),
                segments=draft.segments(),
                alone=names.count(draft.name) == 1,
                repeat_start=any(repeat.first == place for repeat in repeats),
                repeat_times=next((repeat.times for repeat in repeats if repeat.last == place), 1),
                then={
                    count: END if visit is None else said[visit]
                    for count, visit in _what_follows(place, order, repeats).items()
                },
            )
            for place, draft in enumerate(drafts)
        ),
        tuple(order),
    )


def gestures_in(
    measure: Measure, gestures: Sequence[Gesture], starts: Sequence[float]
) -> Iterator[tuple[int, Gesture]]:
    """Yield the gestures that start within a measure, each with its index; `starts` are their starts in order."""
    for index in range(bisect_left(starts, float(measure.start_beat)), len(gestures)):
        gesture = gestures[index]
        if gesture.start_beat >= measure.end_beat:
            return
        yield index, gesture


def tied_into(measure: Measure, arrangement: Arrangement) -> bool:
    """Whether the first note of a measure goes on with the note before it, without a stroke."""
    bars = arrangement.bars
    before = [note for note in bars[measure.bar_index].melody if note.start_beat < measure.low_beat] or list(
        bars[measure.bar_index - 1].melody if measure.bar_index else ()
    )
    return bool(before) and before[-1].tied_on


def _content(measure: Measure, arrangement: Arrangement, starts: Sequence[float]) -> object:
    """Return what is printed of a measure but for words and marks, to compare it with another."""
    low = measure.low_beat
    return (
        measure.length_beat,
        tied_into(measure, arrangement),
        tuple(
            (note.start_beat - low, note.length_beat, note.pitch, note.tied_on, note.position, note.off_neck)
            for note in measure.melody
        ),
        tuple((span.start_beat - low, span.played_as) for span in measure.chords),
        tuple(
            (
                gesture.start_beat - measure.start_beat,
                gesture.layer,
                gesture.action,
                gesture.accent,
                gesture.up,
                tuple((note.string, note.shown) for note in gesture.notes),
            )
            for _, gesture in gestures_in(measure, arrangement.gestures, starts)
        ),
    )


# ---- what is printed once


@dataclass(slots=True)
class _Draft:
    """A printed section as it grows, pass by pass.

    `bars` has for each bar of the section what has been played there so far: different contents in order of their first
    appearance, each with its playings.
    """

    name: str
    passes: list[int] = field(default_factory=list)
    bars: dict[int, dict[object, list[Measure]]] = field(default_factory=dict)

    def takes(self, visit: Sequence[Measure], contents: Sequence[object]) -> bool:
        """Whether a playing of a section can share this print: few brackets, and half of its bars already there."""
        if visit[-1].section != self.name:
            return False
        new = [
            content not in self.bars.get(measure.section_bar, {})
            for measure, content in zip(visit, contents, strict=True)
        ]
        runs = sum(is_new for is_new, _ in groupby(new))
        return sum(new) * 2 <= len(new) and runs <= MOST_RUNS

    def add(self, visit: Sequence[Measure], contents: Sequence[object]) -> None:
        self.passes.append(visit[-1].pass_number)
        for measure, content in zip(visit, contents, strict=True):
            self.bars.setdefault(measure.section_bar, {}).setdefault(content, []).append(measure)

    def segments(self) -> tuple[Segment, ...]:
        """Return the bars cut where other passes play."""
        segments: list[Segment] = []
        ordered = [tuple(variants.values()) for _, variants in sorted(self.bars.items())]
        for partition, group in groupby(ordered, key=_passes_of):
            variants = zip(*group, strict=True)
            for passes, playings in zip(partition, variants, strict=True):
                bars = tuple(WrittenBar(tuple(each)) for each in playings)
                segments.append(Segment(bars, passes, len(partition) > 1))
        return tuple(segments)


def _passes_of(variants: Sequence[Sequence[Measure]]) -> tuple[tuple[int, ...], ...]:
    """Return which passes share a variant of a bar."""
    return tuple(tuple(measure.pass_number for measure in playings) for playings in variants)


# ---- the way through: which repeat signs can tell it, and what has to be said in words


@dataclass(frozen=True, slots=True)
class _Repeat:
    """Printed sections from `first` to `last` that are played several times in a row."""

    first: int
    last: int
    times: int


def _repeats_in(order: Sequence[int]) -> tuple[_Repeat, ...]:
    """Return the repeats that signs can tell, from the printed sections in the order in which they are played."""
    repeats = []
    at = 0
    while at < len(order):
        length, times = _repeated(order, at)
        if times > 1:
            repeats.append(_Repeat(order[at], order[at + length - 1], times))
        at += length * times
    return tuple(repeats)


def _repeated(order: Sequence[int], at: int) -> tuple[int, int]:
    """Return the length of the shortest group from a place that is repeated at once, and how often it is played.

    Only sections that come for the first time, and in the order printed, can be closed in signs.
    """
    if order[at] in order[:at]:
        return 1, 1
    for length in range(1, (len(order) - at) // 2 + 1):
        group = list(order[at : at + length])
        if group != list(range(group[0], group[0] + length)):
            break
        times = 1
        while list(order[at + times * length : at + (times + 1) * length]) == group:
            times += 1
        if times > 1:
            return length, times
    return 1, 1


def _what_follows(place: int, order: Sequence[int], repeats: Sequence[_Repeat]) -> dict[int, int | None]:
    """Return what follows a printed section where neither the next one nor a repeat sign tells.

    By how often the section has been played, counted from 1: the index into `order` of what follows, None for the end.
    """
    visits = [index for index, printed in enumerate(order) if printed == place]
    repeat = next((each for each in repeats if each.last == place), _Repeat(place, place, 1))
    below = place + 1 if place < max(order) else None
    following: dict[int, int | None] = {}
    for count, visit in enumerate(visits, 1):
        coming = order[visit + 1] if visit + 1 < len(order) else None
        if coming != (repeat.first if count % repeat.times else below):
            following[count] = None if coming is None else visit + 1
    return following
