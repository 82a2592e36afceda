"""What a window shows of a song while it is being written: as plain data, from its text.

Its bars and where they stand in the text, its layers, what there is to say about each bar, its music, drawn, and what
speaks for other keys.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Any

from tercet.arranging import Arrangement, Gesture, song_tuning
from tercet.arranging.advice import advise_each
from tercet.arranging.key_advice import KeyAdvice
from tercet.arranging.report import Report, report_of
from tercet.performing import Covered, Take, covered_notes, lay_out, perform
from tercet.publish.page.music import marks_of_notes, signs_svg, with_prefix
from tercet.publish.page.song_facts import natural_places
from tercet.publish.score.elements import ScoreLook
from tercet.publish.score.engraving import Engraving, engrave, engrave_loosely, line_svgs
from tercet.publish.score.one_line import line_alone
from tercet.song import Layer, Song, played_visits
from tercet.theory import STRUM_SIGNS, TUNINGS, spell

__all__ = [
    "advice_facts",
    "bar_marks",
    "drawn_line",
    "drawn_sheet",
    "gesture_places",
    "layer_places",
    "line_of_bar",
    "song_view",
    "take_of_whole",
]

LINE_WIDTH = 2300
"""Of a drawn line, in the engraver's units: four bars or five on a desk."""

SHEET_WIDTH = 1900
SHEET_PREFIX = "sheet-"

HARDEST_MARKED, BARS_A_HARD_ONE = 3, 6
"""So many bars are marked as the hardest, in a short song fewer: one of so many."""


@dataclass(frozen=True, slots=True)
class _LineOfText:
    """A line of music as it stands in the file.

    Parameters
    ----------
    section, line
        Which section, and which of its lines, from 0.
    from_line, to_line
        Its first and its last row, counted through the file from 1.
    bars
        Indices of its bars in the piece as played, on the section's first pass, its pick-up first if it has one; empty
        if the form doesn't play it.
    """

    section: str
    line: int
    from_line: int
    to_line: int
    bars: tuple[int, ...]


def take_of_whole(arrangement: Arrangement) -> Take:
    """Return a take of the whole song without a count-in."""
    return perform(arrangement, lay_out(arrangement, count_in_bars=0))


def gesture_places(arrangement: Arrangement) -> dict[tuple[Fraction, Layer, int], int]:
    """Return the index of each gesture by the beat, layer and string of its notes; a second voice's have none."""
    return {
        (gesture.start_beat, gesture.layer, note.string): index
        for index, gesture in enumerate(arrangement.gestures)
        for note in gesture.notes
    }


def layer_places(arrangement: Arrangement, take: Take) -> list[dict[str, str]]:
    """Return the layers of a song, and where each stands in a take of the whole of it."""
    layers = arrangement.song.layers
    return [{"name": layer, "natural": place} for layer, place in natural_places(take, layers).items()]


def song_view(arrangement: Arrangement) -> dict[str, Any]:
    """Return what there is to know of a song without mistakes at once."""
    song = arrangement.song
    return {
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tempo": float(song.tempo),
        "tuning": arrangement.tuning.name,
        "players": song.players,
        "bars": [
            {"number": bar.number, "section": bar.section, "pass": bar.pass_number}
            for bar in arrangement.bars
        ],
        "lines": [asdict(line) for line in _lines_of_text(arrangement)],
    }


def _lines_of_text(arrangement: Arrangement) -> tuple[_LineOfText, ...]:
    """Return the lines of music in the order of the file."""
    visits = {visit.section: visit for visit in reversed(played_visits(arrangement.bars))}
    found = []
    for section in arrangement.song.sections:
        visit = visits.get(section.name)
        for number, line in enumerate(section.lines):
            rows = [row.source.line for row in line.rows if row.source.line]
            measures = [measure for measure in visit.measures if measure.line == number] if visit else []
            bars = tuple(measure.bar_index for measure in measures)
            if rows:
                found.append(_LineOfText(section.name, number, min(rows), max(rows), bars))
    return tuple(found)


def line_of_bar(arrangement: Arrangement, bar_index: int) -> tuple[int, int] | None:
    """Return the line of music in which a bar is played: the number of its visit, and of the line in it.

    Of a bar that two visits share, as a pick-up makes them, the larger part decides.
    """
    found = [
        (measure.length_beat, -number, measure.line)
        for number, visit in enumerate(played_visits(arrangement.bars))
        for measure in visit.measures
        if measure.bar_index == bar_index
    ]
    if not found:
        return None
    _, number, line = max(found)
    return -number, line


def drawn_line(arrangement: Arrangement, visit_number: int, line: int) -> dict[str, Any]:
    """Return the music of a line as a visit plays it, drawn.

    ``svg`` is our own drawing, all texts in it escaped; ``shows`` has for each gesture and string, ``"12/3"``, the
    names of the elements that show it; ``places`` for each stroke of the tune where its note stands, and its name;
    ``bars`` are the indices of its bars.
    """
    visit = played_visits(arrangement.bars)[visit_number]
    alone, indices = line_alone(arrangement, visit, line)
    engraving = engrave_loosely(alone, ScoreLook(width=LINE_WIDTH))
    shows = _shows(engraving, alone)
    return {
        "svg": signs_svg(engraving) + "".join(line_svgs(engraving)),
        "shows": {f"{indices[place]}/{string}": names for (place, string), names in shows.items()},
        "places": {
            str(indices[place]): [
                gesture.source.line,
                gesture.source.column,
                _note_name(gesture, arrangement),
            ]
            for place, gesture in enumerate(alone.gestures)
            if gesture.source.line and gesture.notes[-1].part == "tune"
        },
        "bars": [measure.bar_index for measure in visit.measures if measure.line == line],
    }


def drawn_sheet(arrangement: Arrangement) -> dict[str, Any]:
    """Return the whole music, drawn: line by line, each with the index of its first bar and what to call it.

    ``shows`` has for each gesture and string, ``"12/3"``, the names of the elements that show it.
    """
    engraving = engrave(arrangement, ScoreLook(width=SHEET_WIDTH))
    first_bar: dict[str, int] = {}
    for index, names in enumerate(engraving.score.bar_ids):
        for name in names:
            first_bar.setdefault(name, index)
    lines = []
    for place, (system, svg) in enumerate(zip(engraving.systems, line_svgs(engraving), strict=True)):
        index = first_bar.get(system.bars[0], 0)
        bar = arrangement.bars[index]
        whole = svg if place else signs_svg(engraving) + svg
        lines.append(
            {
                "svg": with_prefix(whole, SHEET_PREFIX),
                "bar": index,
                "name": f"bar {bar.number}, {bar.section}",
            }
        )
    shows = _shows(engraving, arrangement)
    return {
        "lines": lines,
        "shows": {
            f"{place}/{string}": [SHEET_PREFIX + name for name in names]
            for (place, string), names in shows.items()
        },
    }


def _shows(engraving: Engraving, arrangement: Arrangement) -> dict[tuple[int, int], list[str]]:
    """Return for each gesture and string the names of the elements that show it, where any do."""
    strings = [
        (place, note.string) for place, gesture in enumerate(arrangement.gestures) for note in gesture.notes
    ]
    names = marks_of_notes(engraving.score, arrangement, strings)
    return {string: shown for string, shown in zip(strings, names, strict=True) if shown}


def _note_name(gesture: Gesture, arrangement: Arrangement) -> str:
    return str(spell(gesture.notes[-1].midi, arrangement.song.key))


def advice_facts(song: Song) -> dict[str, Any]:
    """Return what there is to say about the twelve keys of a song, the best first, in each of the tunings."""
    own = song_tuning(song)
    tunings = tuple(dict.fromkeys((own, *TUNINGS.values())))
    ranked = advise_each(song, tunings)
    return {
        "key": str(song.key),
        "tuning": own.name,
        "tunings": [
            {"tuning": tuning.name, "keys": [_key_facts(advice) for advice in keys]}
            for tuning, keys in zip(tunings, ranked, strict=True)
        ],
    }


def _key_facts(advice: KeyAdvice) -> dict[str, Any]:
    (of_tuning,) = advice.tunings
    return {
        "key": str(advice.key),
        "semitones": advice.semitones,
        "missing": of_tuning.missing,
        "audible": of_tuning.audible / of_tuning.wanted if of_tuning.wanted else 1.0,
        "not_held": of_tuning.not_held,
    }


def bar_marks(arrangement: Arrangement, take: Take) -> dict[int, list[dict[str, Any]]]:
    """Return what there is to say about bars, by their index: problems, covered notes, shapes, hard places."""
    index_of = {bar.number: index for index, bar in enumerate(arrangement.bars)}
    marks: defaultdict[int, list[dict[str, Any]]] = defaultdict(list)
    report = report_of(arrangement)
    for number, kind, text in _said(arrangement, report, covered_notes(take)):
        index = index_of[number]
        if not any(mark["text"] == text for mark in marks[index]):
            marks[index].append({"kind": kind, "text": text})
    return dict(marks)


def _said(
    arrangement: Arrangement, report: Report, covered: Sequence[Covered]
) -> Iterator[tuple[int, str, str]]:
    """Yield the number of a bar, what kind of thing is said of it, and the sentence."""
    for problem in arrangement.problems:
        yield problem.bar_number, "problem", ": ".join(filter(None, (problem.message, problem.remedy)))
    key = arrangement.song.key
    for each in covered:
        by = ", ".join(f"{spell(other.midi, key)} (string {other.string})" for other in each.by)
        number = arrangement.bars[each.note.bar_index].number
        yield number, "covered", f"the tune's {spell(each.note.midi, key)} doesn't stand clear of {by}"
    for masked in report.masked:
        yield (
            masked.bar_number,
            "masked",
            f"in the roll {masked.struck} another string sounds above the tune's {masked.note}",
        )
    yield from _hard_places(report)
    for line in report.lines:
        for use in line.hands:
            fingers = f", fingers {use.fingers}" if use.fingers else ""
            held = f"shape {use.shape}{fingers}" if use.shape.strip("0") else "open strings"
            yield use.bar_number, "shape", f"{held}: {', '.join(map(_stroke_words, use.strokes))}"


_STRUMS = {sign.sign: sign.about for sign in STRUM_SIGNS.values()}


def _stroke_words(stroke: str) -> str:
    """Return a stroke of the report in words.

    >>> _stroke_words("[321]"), _stroke_words("[1]"), _stroke_words("d")
    ('roll 3 2 1', 'string 1', 'down')
    """
    strings = stroke.strip("[]")
    if strings == stroke:
        return _STRUMS.get(stroke, stroke)
    return f"string {strings}" if len(strings) == 1 else f"roll {' '.join(strings)}"


def _hard_places(report: Report) -> Iterator[tuple[int, str, str]]:
    stretch, change, highest = report.widest_stretch, report.fastest_change, report.highest_fret
    if stretch is not None:
        yield stretch.bar_number, "hard", f"the widest stretch: {stretch}"
    if change is not None:
        yield change.bar_number, "hard", f"the fastest change: {change}"
    if highest is not None:
        yield highest.bar_number, "hard", f"the highest fret: {highest}"
    for hasty in report.hasty_changes:
        yield hasty.bar_number, "hard", f"a change that comes soon for these players: {hasty}"
    places = report.hardest_places
    for bar in places[: min(max(len(places) // BARS_A_HARD_ONE, 1), HARDEST_MARKED)]:
        yield bar.bar_number, "hard", "one of the hardest bars"
