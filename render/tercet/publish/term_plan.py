"""The plan of a class's weeks for the teacher: what it says, as text and as pages, a week a page.

Lengths on a page are in points of 1/72 inch, x to the right and y down from the upper left corner.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tercet.arranging.easy_first import mostly
from tercet.arranging.novelties import Met, NewKind
from tercet.arranging.report import BarHardness
from tercet.errors import RequestError
from tercet.publish.paragraphs import wrapped
from tercet.publish.pdf import WHITE, pdf_bytes
from tercet.publish.picture_files import PAPERS_PT, USUAL_PAPER
from tercet.publish.pictures.chord_diagram import ASPECT, chord_diagram
from tercet.publish.pictures.looks import FAINT, TEXT, TEXT_SOFT
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.shapes import Drawing, Ink, Path, Shape, Style, Text
from tercet.wording import counted, listed

__all__ = [
    "PlannedPart",
    "PlannedSong",
    "PlannedTrack",
    "PlannedWeek",
    "ShownByEar",
    "TermPlan",
    "as_json",
    "new_words",
    "plan_drawings",
    "plan_pdf",
    "plan_text",
]

MARGIN = 40.0
SIZES = (12.5, 11.0, 10.0, 9.0, 8.0)
"""Of the text: the largest in which a week fits its page; a week that is longer still goes on on the next."""

DIAGRAM_EMS, DIAGRAM_GAP_EMS = 4.2, 0.8
"""Width of a shape's diagram, and the gap between two."""

LABEL_EMS = 7.5
"""Room for what a line is about, before it."""

NEW_NAMES: dict[NewKind, tuple[str, str]] = {
    "chord": ("chord", "chords"),
    "shape": ("shape", "shapes"),
    "roll": ("roll", "rolls"),
    "strum": ("strum", "strums"),
    "rhythm": ("rhythm", "rhythms"),
    "fret": ("highest", "highest"),
}
"""What kinds of new things are called, one and several."""

MOST_NEW = 12
"""So many new things of a kind are named; a class that meets more is told how many more."""


@dataclass(frozen=True, slots=True)
class PlannedTrack:
    """A track of a lesson: its name, and what students do with it."""

    name: str
    purpose: str


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """Who plays what: a set of the class or a layer, and what its part asks."""

    who: str
    what: str


@dataclass(frozen=True, slots=True)
class ShownByEar:
    """What is shown by ear before it is read: the bar in which it is first met, and what it is."""

    bar_number: int
    what: str


@dataclass(frozen=True, slots=True)
class PlannedSong:
    """A song of a week.

    Parameters
    ----------
    song
        The name of its file, without the ending.
    title
        What it is called.
    bars
        Which bars are practised, in words: ``bars 5 to 8``; empty for the whole song.
    note
        What students are told.
    new
        What no week and no song before it has.
    shapes
        The new ones of these shapes, to be drawn.
    by_ear, hard, parts, tracks
        What to show by ear, the hardest bars, who plays what, and with which tracks, in order.
    """

    song: str
    title: str
    bars: str
    note: str
    new: tuple[Met, ...]
    shapes: tuple[ShapeUse, ...]
    by_ear: tuple[ShownByEar, ...]
    hard: tuple[BarHardness, ...]
    parts: tuple[PlannedPart, ...]
    tracks: tuple[PlannedTrack, ...]


@dataclass(frozen=True, slots=True)
class PlannedWeek:
    """A week: which it is, from 1, what it is called, what students are told, its songs in order."""

    number: int
    name: str
    note: str
    songs: tuple[PlannedSong, ...]


@dataclass(frozen=True, slots=True)
class TermPlan:
    """All weeks of a class: its name, the weeks, and which of them this week is."""

    class_name: str
    weeks: tuple[PlannedWeek, ...]
    this_week: int

    def only(self, number: int) -> TermPlan:
        """Return the plan of one week alone; `RequestError` where there is no such week."""
        found = tuple(week for week in self.weeks if week.number == number)
        if not found:
            raise RequestError(
                f"there is no week {number}: the class file plans {counted(len(self.weeks), 'week')}"
            )
        return TermPlan(self.class_name, found, self.this_week)


def as_json(plan: TermPlan) -> dict[str, Any]:
    """Return a plan as plain values for JSON."""
    plain: dict[str, Any] = asdict(plan)
    return plain


# ---- in words


def new_words(new: Iterable[Met]) -> list[str]:
    """Return what is new, a line for each kind: ``chords C, F and G7``."""
    found = tuple(new)
    lines = []
    for kind, (one, several) in NEW_NAMES.items():
        names = [each.shown for each in found if each.kind == kind]
        more = len(names) - MOST_NEW
        shown = [*names[:MOST_NEW], f"{more} more"] if more > 0 else names
        if shown:
            told = "; ".join(shown) if kind == "rhythm" else listed(shown)
            lines.append(f"{one if len(names) == 1 else several} {told}")
    return lines


def _hard_words(hard: Iterable[BarHardness]) -> str:
    """Return which bars are hard, and what makes them so."""
    by_cause: dict[str, list[str]] = {}
    for place in hard:
        by_cause.setdefault(mostly(place), []).append(str(place.bar_number))
    return "; ".join(
        f"bar{'s' if len(bars) > 1 else ''} {listed(bars)}: {cause}" for cause, bars in by_cause.items()
    )


def _song_lines(song: PlannedSong) -> Iterator[tuple[str, str]]:
    """Yield what the plan says of a song: what each line is about, and its text."""
    if song.note:
        yield "note", song.note
    for number, line in enumerate(new_words(song.new) or ["nothing: all of it was met before"]):
        yield "" if number else "new", line
    if song.by_ear:
        yield "by ear", "; ".join(f"bar {each.bar_number}: {each.what}" for each in song.by_ear)
    if song.hard:
        yield "hard", _hard_words(song.hard)
    for number, part in enumerate(song.parts):
        yield "" if number else "who plays", f"{part.who}: {part.what}"
    for number, track in enumerate(song.tracks):
        yield "" if number else "tracks", f"{track.name}: {track.purpose}"


def _heading(number: int, song: PlannedSong) -> str:
    return f"{number}. {song.title}" + (f", {song.bars}" if song.bars else "")


def plan_text(plan: TermPlan) -> str:
    """Return a plan as text, week by week."""
    lines = [plan.class_name] if plan.class_name else []
    for week in plan.weeks:
        lines += ["", _week_title(week, plan)]
        lines += [f"  {week.note}"] if week.note else []
        for number, song in enumerate(week.songs, 1):
            lines.append(f"  {_heading(number, song)}")
            lines += [f"    {label:<10}{text}" for label, text in _song_lines(song)]
    return "\n".join(lines).strip("\n")


def _week_title(week: PlannedWeek, plan: TermPlan) -> str:
    usual = f"Week {week.number}"
    named = (
        week.name if week.name == usual or len(plan.weeks) == 1 == plan.this_week else f"{usual}: {week.name}"
    )
    return f"{named} (this week)" if len(plan.weeks) > 1 and week.number == plan.this_week else named


# ---- as pages


def plan_pdf(plan: TermPlan, paper: str = USUAL_PAPER) -> bytes:
    """Return a plan as the bytes of a PDF file, a page a week where it fits."""
    return pdf_bytes(plan_drawings(plan, paper), title=_title(plan), unit_pt=1.0)


def _title(plan: TermPlan) -> str:
    return f"{plan.class_name}: lesson plan" if plan.class_name else "Lesson plan"


def plan_drawings(plan: TermPlan, paper: str = USUAL_PAPER) -> tuple[Drawing, ...]:
    """Return the pages of a plan, drawn a unit a point."""
    return tuple(page for week in plan.weeks for page in _week_pages(week, plan, paper))


def _week_pages(week: PlannedWeek, plan: TermPlan, paper: str) -> list[Drawing]:
    """Return the page of a week, or its pages where even the smallest text needs several."""
    pages: list[list[Shape]] = []
    for size in SIZES:
        pages = _laid_out(week, plan, paper, size)
        if len(pages) == 1:
            break
    width, height = PAPERS_PT[paper]
    title = _week_title(week, plan)
    return [
        Drawing(width, height, tuple(shapes), WHITE, title, f"The plan of {title}.", TEXT) for shapes in pages
    ]


def _laid_out(week: PlannedWeek, plan: TermPlan, paper: str, size: float) -> list[list[Shape]]:
    setter = _Setter(PAPERS_PT[paper], size)
    if plan.class_name:
        setter.paragraph(plan.class_name, size, TEXT_SOFT)
    setter.paragraph(_week_title(week, plan), 2 * size, TEXT, "bold")
    if week.note:
        setter.paragraph(week.note, 1.1 * size, TEXT)
    for number, song in enumerate(week.songs, 1):
        setter.rule()
        setter.paragraph(_heading(number, song), 1.35 * size, TEXT, "bold")
        for label, text in _song_lines(song):
            setter.labelled(label, text)
        setter.diagrams(song.shapes)
    if not week.songs:
        setter.paragraph("no songs", size, TEXT_SOFT)
    return setter.pages


class _Setter:
    """Sets lines of text one under the other, on a new page where one is full."""

    def __init__(self, paper_pt: tuple[float, float], size: float) -> None:
        self.pages: list[list[Shape]] = [[]]
        self._width, self._height = paper_pt
        self._size, self._y = size, MARGIN

    def paragraph(self, text: str, size: float, colour: str, style: Style = "plain") -> None:
        """Set a text as wide as the page."""
        for line in wrapped(text, size, self._width - 2 * MARGIN, 6, style):
            self._down(1.4 * size)
            self._add(Text(MARGIN, self._y, line, size, colour, style=style))

    def labelled(self, label: str, text: str) -> None:
        """Set a text behind what it is about."""
        size, indent = self._size, MARGIN + LABEL_EMS * self._size
        for number, line in enumerate(wrapped(text, size, self._width - MARGIN - indent, 8)):
            self._down(1.4 * size)
            if label and not number:
                self._add(Text(MARGIN, self._y, label, size, TEXT_SOFT))
            self._add(Text(indent, self._y, line, size, TEXT))

    def diagrams(self, uses: Sequence[ShapeUse]) -> None:
        """Draw shapes in rows, as many as stand under the text."""
        wide, gap = DIAGRAM_EMS * self._size, DIAGRAM_GAP_EMS * self._size
        left = MARGIN + LABEL_EMS * self._size
        per_row = int((self._width - MARGIN - left + gap) / (wide + gap))
        for start in range(0, len(uses), per_row):
            self._down(ASPECT * wide + gap)
            for place, use in enumerate(uses[start : start + per_row]):
                x = left + place * (wide + gap)
                self._add(chord_diagram(use, x, self._y - ASPECT * wide, wide))

    def rule(self) -> None:
        """Draw a line across."""
        self._down(self._size)
        self._add(Path(((MARGIN, self._y), (self._width - MARGIN, self._y)), Ink(stroke=FAINT, width=0.8)))
        self._down(0.3 * self._size)

    def _down(self, by: float) -> None:
        self._y += by
        if self._y > self._height - MARGIN:
            self.pages.append([])
            self._y = MARGIN + by

    def _add(self, shape: Shape) -> None:
        self.pages[-1].append(shape)
