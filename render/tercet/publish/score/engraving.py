"""Engraving: an arrangement as printed music, line by line, and what on paper shows each gesture that is played.

A page that follows the sound uses it so::

    engraving = engrave(arrangement)
    html = sign_definitions(engraving.signs) + "".join(line_svgs(engraving))
    for gesture, ids in zip(arrangement.gestures, engraving.score.gesture_ids): ...

`Score.gesture_ids` has an entry for every gesture of the piece *as played*, in the order of
`Arrangement.gestures` (which `tercet.performing.TakeNote.gesture` counts, too). On each pass through a repeat or an
ending it names the elements of the one printed place: `ids.strings[i]` is the digit of `gesture.notes[i]`, so a roll is
followed string by string; `ids.note` is its note on the staff, `ids.word` the syllable sung on this pass, `ids.strum`
its sign in the strip, `ids.bar` the bar. A chop has no digit: its sign is all there is. `Score.bar_ids` names the
printed bars of each bar as played, `System.bars` those that stand in a line of music, to scroll by.

Classes to style: ``melody``, ``between`` and ``strums`` on digits and on the arrows of rolls (``arpeg``), ``struck``
and ``under`` on digits, ``measure``, ``note``, ``word``, ``chord``, ``count``, … Colours are presentation attributes or
the colour of the text around, so that a style sheet overrides them.

Lines of music break as they are written, unless one is too long or too short: one that is wider than the paper is cut
into lines of about the same width; short ones are joined while they fit. A section begins on a new line, its pick-up
with it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from itertools import groupby, pairwise
from math import ceil

from tercet.arranging import Arrangement
from tercet.publish.score.elements import ScoreLook
from tercet.publish.score.engraver_svg import measure_edges, read_drawing
from tercet.publish.score.finished_lines import System, finished
from tercet.publish.score.mei import LINE_BREAK, Score, score_of
from tercet.publish.svg import FONTS, svg_elements

__all__ = [
    "Engraving",
    "WrittenWidth",
    "engrave",
    "engrave_at",
    "engrave_loosely",
    "line_svgs",
    "starts_of_lines",
]

_OPTIONS = {
    "pageHeight": 60000, "adjustPageHeight": True, "header": "none", "footer": "none", "mnumInterval": 0,
    "pageMarginLeft": 0, "pageMarginRight": 0, "pageMarginTop": 0, "pageMarginBottom": 0,
    "xmlIdSeed": 1, "svgFormatRaw": True, "smuflTextFont": "none",
    "spacingStaff": 9, "spacingNonLinear": 0.55, "defaultBottomMargin": 1.6, "bottomMarginHarm": 1.5,
    "lyricTopMinMargin": 2.5, "lyricSize": 4.8, "lyricWordSpace": 1.7,
}  # fmt: skip
"""Of the engraver: no page furniture of its own, and room for words between staff and tab, in halves of a space."""

_BREAK = re.compile(rf'<sb xml:id="({LINE_BREAK}\d+)" ?/>')

OPENING, KEY_SIGN = 1000.0, 190.0
"""About how wide a clef is, and each sign of the key, in fine units."""

LOOSE = 1.3
"""How much wider than it must be a line is that stands alone."""

MOST_WIDTH = 100_000
"""The engraver draws no longer lines."""

_FINE = 10.0
"""Fine units of a drawing for each unit of the options."""


@dataclass(frozen=True, slots=True)
class Engraving:
    """An engraved arrangement.

    Parameters
    ----------
    systems
        Lines of music in order.
    signs
        Outlines of the musical signs, by name: ``d`` of SVG paths whose y grows upward.
    score
        What was engraved: the printed bars, and the names of the elements that show each gesture and each bar.
    width
        Width of a full line of music, in fine units.
    """

    systems: tuple[System, ...]
    signs: Mapping[str, str]
    score: Score
    width: float


def engrave(arrangement: Arrangement, look: ScoreLook = ScoreLook()) -> Engraving:  # noqa: B008
    """Engrave an arrangement, every bar once. The same arrangement gives the same engraving.

    Raises
    ------
    ParameterError
        A note that isn't on the neck.
    RequestError
        More notes than can be engraved.
    """
    return engrave_at(arrangement, look, (look.width,))[0]


def engrave_at(arrangement: Arrangement, look: ScoreLook, widths: Sequence[int]) -> tuple[Engraving, ...]:
    """Engrave an arrangement at several widths; names of elements are the same at all. Errors as `engrave`."""
    score = score_of(arrangement, look)
    bars = _bar_widths(score, look)
    looks = [replace(look, width=width) for width in widths]
    return tuple(_engraved(score, each, *_broken(score, bars, each, arrangement)) for each in looks)


def engrave_loosely(arrangement: Arrangement, look: ScoreLook) -> Engraving:
    """Engrave a few bars as one line, `LOOSE` times as wide as it must be if that fits. Errors as `engrave`."""
    score = score_of(arrangement, look)
    bars = _bar_widths(score, look)
    needed = _opening(arrangement, look) + sum(bar.width for bar in bars)
    if needed * LOOSE > look.width * _FINE:
        return _engraved(score, look, *_broken(score, bars, look, arrangement))
    width = ceil(needed * LOOSE / _FINE)
    return _engraved(score, look, _BREAK.sub("", score.mei), width, frozenset(), last_fills=True)


def line_svgs(engraving: Engraving) -> tuple[str, ...]:
    """Return each line of music as an svg element; its document needs the `sign_definitions` of the engraving.

    All are to one scale when they are shown equally wide: a line with few bars leaves the rest of its width empty.
    """
    left = min((system.left for system in engraving.systems), default=0.0)
    right = max((system.left + system.width for system in engraving.systems), default=0.0)
    return tuple(_line_svg(system, left, max(right - left, engraving.width)) for system in engraving.systems)


def _line_svg(system: System, left: float, width: float) -> str:
    box = " ".join(f"{size:.1f}" for size in (left, system.top, width, system.height))
    inside = "".join(text for shape in system.shapes for text in svg_elements(shape))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="system" viewBox="{box}" fill="currentColor" '
        f'font-family="{FONTS}">{inside}</svg>'
    )


def _engraved(
    score: Score, look: ScoreLook, mei: str, width: int, short: frozenset[int], *, last_fills: bool = False
) -> Engraving:
    """Return a score with its line breaks as it is drawn: lines fill the width, but for those that are too short."""
    systems: list[System] = []
    signs: dict[str, str] = {}
    for stretched in (True, False) if short else (True,):
        found: list[System] = []
        for page in _drawn(mei, width, breaks="encoded", stretched=stretched, last_fills=last_fills):
            drawn, page_signs = read_drawing(page, score.texts)
            signs |= page_signs
            found += [finished(system, score.texts, page_signs, look) for system in drawn]
        systems = [one if at in short else systems[at] for at, one in enumerate(found)] if systems else found
    return Engraving(tuple(systems), signs, score, width * _FINE)


def _bar_widths(score: Score, look: ScoreLook) -> list[WrittenWidth]:
    """Return how wide each bar of a score is, engraved as one long line."""
    (long_line,) = _drawn(score.mei, look.width, breaks="none")
    return [
        WrittenWidth(section, line, right - left)
        for (section, line), (left, right) in zip(score.places, measure_edges(long_line), strict=True)
    ]


def _broken(
    score: Score, bars: Sequence[WrittenWidth], look: ScoreLook, arrangement: Arrangement
) -> tuple[str, int, frozenset[int]]:
    """Return a score with line breaks, the width of its lines, at least that of its widest bar, and the short ones."""
    opening = _opening(arrangement, look)
    room = max(look.width * _FINE, opening + max(bar.width for bar in bars))
    starts = starts_of_lines(bars, room, opening)
    wanted = {f"{LINE_BREAK}{index}" for index in starts}
    mei = _BREAK.sub(lambda found: found[0] if found[1] in wanted else "", score.mei)
    short = _short_lines(bars, starts, room, opening) if look.in_proportion else frozenset()
    return mei, min(ceil(room / _FINE), MOST_WIDTH), short


def _opening(arrangement: Arrangement, look: ScoreLook) -> float:
    """Return about how wide clef and key are at the beginning of a line, in fine units."""
    return OPENING + KEY_SIGN * abs(arrangement.song.key.fifths) * look.tune


def _short_lines(
    bars: Sequence[WrittenWidth], starts: Sequence[int], room: float, opening: float
) -> frozenset[int]:
    """Return which lines end a section and are too short to be stretched, counted from 0."""
    edges = (0, *starts, len(bars))
    return frozenset(
        line
        for line, (first, after) in enumerate(pairwise(edges))
        if (after == len(bars) or bars[after].section != bars[first].section)
        and opening + sum(bar.width for bar in bars[first:after]) < LONG_ENOUGH * room
    )


def _drawn(
    mei: str, width: int, *, breaks: str, stretched: bool = True, last_fills: bool = False
) -> Iterator[str]:
    """Yield the pages that the engraver draws."""
    import verovio

    verovio.enableLog(verovio.LOG_ERROR)
    # It keeps this for each thread by itself, and is told only in the one that loads it.
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    toolkit = verovio.toolkit()
    least = 0.0 if last_fills else LONG_ENOUGH
    widths = {"pageWidth": width, "noJustification": not stretched, "minLastJustification": least}
    toolkit.setOptions(_OPTIONS | widths | {"breaks": breaks})
    if not toolkit.loadData(mei):
        raise RuntimeError(f"the engraver refused its own kind of file: {toolkit.getLog()}")
    for page in range(1, toolkit.getPageCount() + 1):
        yield toolkit.renderToSVG(page)


# ---- where lines of music break

LONG_ENOUGH = 0.8
"""The last line of a section is stretched from this part of the width on, and that of a piece."""

FULL_ENOUGH = 0.97
"""Lines are joined up to this part of the paper's width."""


@dataclass(frozen=True, slots=True)
class WrittenWidth:
    """A printed bar: its section as printed, its line of music there, and how wide it is by itself."""

    section: int
    line: int
    width: float


def starts_of_lines(bars: Sequence[WrittenWidth], room: float, opening: float) -> tuple[int, ...]:
    """Return the indices of the bars that begin a line on paper, the first of all not counted.

    Parameters
    ----------
    bars
        All printed bars in order.
    room
        Width of the paper.
    opening
        Width of what opens each line: clef and key.
    """
    starts: list[int] = []
    used = 0.0
    index = 0
    section = -1
    for (part, _), group in groupby(bars, key=lambda bar: (bar.section, bar.line)):
        widths = [bar.width for bar in group]
        joins = part == section and used + sum(widths) <= room * FULL_ENOUGH
        if not joins:
            for count in _cut(widths, room - opening):
                starts.append(index)
                used = opening + sum(widths[:count])
                index += count
                widths = widths[count:]
        else:
            used += sum(widths)
            index += len(widths)
        section = part
    return tuple(starts[1:])


def _cut(widths: Sequence[float], room: float) -> list[int]:
    """Return how many bars each of the lines has that a line of music is cut into."""
    total = sum(widths)
    lines = max(1, ceil(total / room))
    aim = total / lines
    counts: list[int] = []
    count, used = 0, 0.0
    for width in widths:
        full = used + width > room
        enough = used + width / 2 > aim and len(counts) < lines - 1
        if count and (full or enough):
            counts.append(count)
            count, used = 0, 0.0
        count, used = count + 1, used + width
    return [*counts, count]
