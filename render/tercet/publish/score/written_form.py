"""The written form: which bars are printed, each exactly once, and which playings each printed bar stands for.

A section that comes again is printed once. Bars that are played otherwise on some passes stand under brackets with the
numbers of those passes, as first and second endings do; a pass that shares too little with what is printed is printed
on its own. Words and marks that differ don't count: they are written one below the other, or with the pass beside them.

The end of a bar that holds the pick-up of the section that follows is a printed bar of its own (a *stretch*), so that
each section begins with its pick-up and repeats as on any printed sheet.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby

from tercet.arranging import Arrangement, Gesture
from tercet.publish.score.way_through import END, repeats_in, way_on, way_said
from tercet.song import ChordSpan, Note

__all__ = ["Segment", "Stretch", "WrittenBar", "WrittenForm", "WrittenSection", "written_form"]

MOST_RUNS = 2
"""Brackets that a pass may add to a section; with more of them, the eye loses the way."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A bar as played, or the part of it before or after the point where a pick-up begins.

    Parameters
    ----------
    visit
        Index into the song's form of the playing that it belongs to; a pick-up belongs to what it leads into.
    section, pass_number, section_bar, line
        Where that is; section bar 0 is the pick-up.
    bar_index
        Index into the arrangement's bars.
    low_beat, high_beat
        Where in that bar it starts and ends, in beats.
    start_beat
        Where it starts in the piece as played, in beats.
    """

    visit: int
    section: str
    pass_number: int
    section_bar: int
    line: int
    bar_index: int
    low_beat: Fraction
    high_beat: Fraction
    start_beat: Fraction

    @property
    def length_beat(self) -> Fraction:
        """Length in beats."""
        return self.high_beat - self.low_beat

    @property
    def end_beat(self) -> Fraction:
        """Where it ends in the piece as played, in beats."""
        return self.start_beat + self.length_beat


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """A printed bar: its playings in order. The first of them is what is printed."""

    playings: tuple[Stretch, ...]

    @property
    def printed(self) -> Stretch:
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
        *others, last = map(str, self.passes)
        passes = f"passes {', '.join(others)} and {last}" if others else f"pass {last}"
        return f"{self.name}, {passes}"

    def then_after(self, passes: Sequence[int], *, repeated: bool) -> str:
        """Return where to go after some of its passes, in words; empty where that is plain."""
        counts = [self.passes.index(number) + 1 for number in passes]
        return way_said(self.then, counts, repeated=repeated)

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


def listed(numbers: Sequence[int]) -> str:
    """Return pass numbers as they are printed: ``1.``, ``1. 3.``, or ``2. to 5.`` for four and more in a row."""
    if len(numbers) > 3 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]}. to {numbers[-1]}."
    return " ".join(f"{number}." for number in numbers)


def written_form(arrangement: Arrangement) -> WrittenForm:
    """Return what is printed of an arrangement.

    Every stretch of the piece as played is a playing of exactly one printed bar, and sounds as that bar is printed.
    """
    visits = _visits(arrangement)
    drafts: list[_Draft] = []
    order: list[int] = []
    starts = tuple(float(gesture.start_beat) for gesture in arrangement.gestures)
    for visit in visits:
        contents = [_content(stretch, arrangement, starts) for stretch in visit]
        place = next(
            (index for index, draft in enumerate(drafts) if draft.takes(visit, contents)), len(drafts)
        )
        if place == len(drafts):
            drafts.append(_Draft(visit[-1].section))
        drafts[place].add(visit, contents)
        order.append(place)
    names = [draft.name for draft in drafts]
    repeats = repeats_in(order)
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
                    for count, visit in way_on(place, order, repeats).items()
                },
            )
            for place, draft in enumerate(drafts)
        ),
        tuple(order),
    )


# ---- cutting the piece as played


def _visits(arrangement: Arrangement) -> list[list[Stretch]]:
    """Return the stretches of each playing of a section, its pick-up first."""
    visits: list[list[Stretch]] = []
    before: tuple[str, int] | None = None
    opened = False
    for index, bar in enumerate(arrangement.bars):
        if (bar.section, bar.pass_number) != before and not opened:
            visits.append([])
        opened, before = False, (bar.section, bar.pass_number)
        head = bar.length_beat if bar.section_bar == 0 else bar.pickup_from
        place = (len(visits) - 1, bar.section, bar.pass_number, bar.section_bar, bar.line, index)
        visits[-1].append(Stretch(*place, Fraction(0), head, bar.start_beat))
        if head < bar.length_beat:
            owner = arrangement.bars[index + 1]
            visits.append([])
            opened = True
            place = (len(visits) - 1, owner.section, owner.pass_number, 0, owner.line, index)
            visits[-1].append(Stretch(*place, head, bar.length_beat, bar.start_beat + head))
    return visits


def gestures_in(
    stretch: Stretch, gestures: Sequence[Gesture], starts: Sequence[float]
) -> Iterator[tuple[int, Gesture]]:
    """Yield the gestures that start within a stretch, each with its index; `starts` are their starts in order."""
    for index in range(bisect_left(starts, float(stretch.start_beat)), len(gestures)):
        gesture = gestures[index]
        if gesture.start_beat >= stretch.end_beat:
            return
        yield index, gesture


def notes_in(stretch: Stretch, arrangement: Arrangement) -> Iterator[Note]:
    """Yield the notes and rests of the tune that start within a stretch, places counted from the bar's start."""
    for note in arrangement.bars[stretch.bar_index].melody:
        if stretch.low_beat <= note.start_beat < stretch.high_beat:
            yield note


def tied_into(stretch: Stretch, arrangement: Arrangement) -> bool:
    """Whether the first note of a stretch goes on with the note before it, without a stroke."""
    bars = arrangement.bars
    before = [note for note in bars[stretch.bar_index].melody if note.start_beat < stretch.low_beat] or list(
        bars[stretch.bar_index - 1].melody if stretch.bar_index else ()
    )
    return bool(before) and before[-1].tied_on


def chords_in(stretch: Stretch, arrangement: Arrangement) -> Iterator[ChordSpan]:
    """Yield the chords that start within a stretch; a pick-up that states none has none."""
    for span in arrangement.bars[stretch.bar_index].chords:
        stated = stretch.section_bar or span.chord is not None
        if stated and stretch.low_beat <= span.start_beat < stretch.high_beat:
            yield span


def _content(stretch: Stretch, arrangement: Arrangement, starts: Sequence[float]) -> object:
    """Return what is printed of a stretch but for words and marks, to compare it with another."""
    low = stretch.low_beat
    return (
        stretch.length_beat,
        tied_into(stretch, arrangement),
        tuple(
            (note.start_beat - low, note.length_beat, note.pitch, note.tied_on, note.position, note.off_neck)
            for note in notes_in(stretch, arrangement)
        ),
        tuple((span.start_beat - low, span.chord, span.shape) for span in chords_in(stretch, arrangement)),
        tuple(
            (
                gesture.start_beat - stretch.start_beat,
                gesture.layer,
                gesture.action,
                gesture.accent,
                gesture.up,
                tuple((note.string, note.shown) for note in gesture.notes),
            )
            for _, gesture in gestures_in(stretch, arrangement.gestures, starts)
        ),
    )


# ---- what is printed once


@dataclass(slots=True)
class _Slot:
    """One bar of a section: its variants, each with its content and its playings."""

    variants: list[tuple[object, list[Stretch]]] = field(default_factory=list)

    def variant(self, content: object) -> int:
        """Return the index of the variant with this content; the number of variants when there is none."""
        return next(
            (index for index, (known, _) in enumerate(self.variants) if known == content), len(self.variants)
        )

    def add(self, stretch: Stretch, content: object) -> None:
        index = self.variant(content)
        if index == len(self.variants):
            self.variants.append((content, []))
        self.variants[index][1].append(stretch)

    def partition(self) -> tuple[tuple[int, ...], ...]:
        """Return which passes share a variant."""
        return tuple(tuple(stretch.pass_number for stretch in playings) for _, playings in self.variants)


@dataclass(slots=True)
class _Draft:
    """A printed section as it grows, pass by pass; the slots by the bar of the section."""

    name: str
    passes: list[int] = field(default_factory=list)
    slots: dict[int, _Slot] = field(default_factory=dict)

    def takes(self, visit: Sequence[Stretch], contents: Sequence[object]) -> bool:
        """Whether a playing of a section can share this print: few brackets, and half of its bars already there."""
        if visit[-1].section != self.name:
            return False
        new = [
            stretch.section_bar not in self.slots
            or self.slots[stretch.section_bar].variant(content)
            == len(self.slots[stretch.section_bar].variants)
            for stretch, content in zip(visit, contents, strict=True)
        ]
        runs = sum(is_new for is_new, _ in groupby(new))
        return sum(new) * 2 <= len(new) and runs <= MOST_RUNS

    def add(self, visit: Sequence[Stretch], contents: Sequence[object]) -> None:
        self.passes.append(visit[-1].pass_number)
        for stretch, content in zip(visit, contents, strict=True):
            self.slots.setdefault(stretch.section_bar, _Slot()).add(stretch, content)

    def segments(self) -> tuple[Segment, ...]:
        """Return the bars cut where other passes play."""
        segments: list[Segment] = []
        ordered = [self.slots[section_bar] for section_bar in sorted(self.slots)]
        for partition, group in groupby(ordered, key=_Slot.partition):
            slots = list(group)
            for index, passes in enumerate(partition):
                bars = tuple(WrittenBar(tuple(slot.variants[index][1])) for slot in slots)
                segments.append(Segment(bars, passes, len(partition) > 1))
        return tuple(segments)
