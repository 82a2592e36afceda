"""The engraved music of a page, once for wide windows and once for narrow ones, and what in it shows each note."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from tercet.arranging import Arrangement, Gesture, StringNote
from tercet.arranging.model import moved_words
from tercet.publish.page.markup import filled
from tercet.publish.score.elements import GestureIds, ScoreLook
from tercet.publish.score.engraving import Engraving, engrave_at, line_svgs
from tercet.publish.score.mei import Score
from tercet.publish.shapes import Group, Outline, Shape, Text
from tercet.publish.svg import sign_definitions
from tercet.wording import nth_time

__all__ = ["MusicView", "engraved_music", "marks_of_notes", "signs_svg", "spoken_bars", "with_prefix"]

WIDTHS = {"wide": 1900, "narrow": 900}
"""Width of a line of music in the engraver's units: about four bars on a table, two on a phone."""


@dataclass(frozen=True, slots=True)
class MusicView:
    """The music at one width.

    Parameters
    ----------
    name
        ``wide`` or ``narrow``.
    prefix
        What the names of its elements begin with, so that no two views share one.
    svg
        One svg element for each line of music.
    part
        Whose music it is where there is more than one: ``song`` or ``second``.
    """

    name: str
    prefix: str
    svg: str
    part: str = ""


def engraved_music(arrangement: Arrangement, part: str = "") -> tuple[Score, tuple[MusicView, ...]]:
    """Engrave an arrangement for a page; the names of the score's elements, without prefix, are those of both views."""
    engravings = engrave_at(arrangement, ScoreLook(in_proportion=True), tuple(WIDTHS.values()))
    views = tuple(_view(name, engraving, part) for name, engraving in zip(WIDTHS, engravings, strict=True))
    return engravings[0].score, views


def _view(name: str, engraving: Engraving, part: str) -> MusicView:
    prefix = f"{name[0]}{'2' * (part == 'second')}-"
    lean = replace(
        engraving,
        systems=tuple(replace(each, shapes=tuple(_leaner(each.shapes))) for each in engraving.systems),
    )
    lines = "\n".join(line_svgs(lean))
    svg = with_prefix(f"{signs_svg(engraving)}\n{lines}", prefix)
    return MusicView(name, prefix, svg.replace("<svg ", '<svg aria-hidden="true" focusable="false" '), part)


_LEVEL = re.compile(r"M(\S+) (\S+) L(\S+) \2")
_UPRIGHT = re.compile(r"M(\S+) (\S+) L\1 (\S+)")
"""Straight lines, across and down: an SVG path says them in fewer signs."""


def _leaner(shapes: Sequence[Shape]) -> Iterator[Shape]:
    """Yield shapes for a page, which has thousands: neighbouring lines of one width as one, texts on whole units."""
    for width, run in groupby(shapes, _line_width):
        if width:
            yield Outline("".join(_short(shape.path) for shape in run if isinstance(shape, Outline)), width)
            continue
        for shape in run:
            match shape:
                case Group():
                    yield replace(shape, shapes=tuple(_leaner(shape.shapes)))
                case Text():
                    yield replace(shape, x=round(shape.x), y=round(shape.y))
                case _:
                    yield shape


def _line_width(shape: Shape) -> float:
    """Return how wide a line is; 0 for what is none."""
    return shape.width if isinstance(shape, Outline) and not shape.filled else 0.0


def _short(path: str) -> str:
    """Return a path in fewer signs."""
    if level := _LEVEL.fullmatch(path):
        return "M{} {}H{}".format(*level.groups())
    if upright := _UPRIGHT.fullmatch(path):
        return "M{} {}V{}".format(*upright.groups())
    return path


def signs_svg(engraving: Engraving) -> str:
    """Return the signs of an engraving as an element that its lines refer to."""
    return f'<svg class="signs" width="0" height="0">{sign_definitions(engraving.signs)}</svg>'


def with_prefix(svg: str, prefix: str) -> str:
    """Return lines of music whose elements have names of their own, so that no two views on a page share one.

    Its texts are escaped, so ``<g id=`` and ``#sign-`` can't stand in one of them.
    """
    svg = svg.replace('<g id="', f'<g id="{prefix}')
    return svg.replace('<path id="sign-', f'<path id="{prefix}sign-').replace(
        'href="#sign-', f'href="#{prefix}sign-'
    )


def marks_of_notes(
    score: Score, arrangement: Arrangement, notes: Sequence[tuple[int, int]]
) -> list[list[str]]:
    """Return for each note, a gesture of the arrangement and a string, the names of the elements that show it.

    A gesture that the arrangement doesn't have is another part's: nothing shows it.

    A string is shown by its digit in the tab, and by the strum's sign. The last string of a gesture is shown by the
    note on the staff and the syllable too: a roll is followed string by string, and arrives with the tune.
    """
    count = len(arrangement.gestures)
    return [
        _marks(score.gesture_ids[index], arrangement.gestures[index], string) if 0 <= index < count else []
        for index, string in notes
    ]


def _marks(ids: GestureIds, gesture: Gesture, string: int) -> list[str]:
    place = next(at for at, note in enumerate(gesture.notes) if note.string == string)
    names = [ids.strings[place]] if ids.strings else []
    if place == len(gesture.notes) - 1:
        names += [ids.note, ids.word]
    return list(filter(None, [*names, ids.strum]))


def spoken_bars(arrangement: Arrangement) -> list[str]:
    """Return for each bar what there is to know of it, for those who don't see the music."""
    passes = {bar.section: bar.pass_number for bar in arrangement.bars}
    spoken = []
    for bar in arrangement.bars:
        section = bar.section
        if passes[bar.section] > 1:
            section = filled("section_pass", section=bar.section, time=nth_time(bar.pass_number))
        parts = [filled("spoken_bar", bar=bar.number, section=section)]
        chords = ", ".join(str(span.chord) for span in bar.chords if span.chord)
        parts += [f"{chords}."] * bool(chords)
        words = " ".join(
            syllable.text + "-" * syllable.joined for _, syllable in bar.words if not syllable.holds
        )
        if words:
            parts.append(filled("spoken_words", words=words.replace("- ", "")))
        strokes = "; ".join(map(_spoken_stroke, arrangement.by_bar[bar.number]))
        parts += [f"{strokes}."] * bool(strokes)
        spoken.append(" ".join(parts))
    return spoken


def _spoken_stroke(gesture: Gesture) -> str:
    """Return a stroke as a tab would say it: ``roll 4 fret 2, 3 fret 0``."""
    strings = ", ".join(_spoken_string(note) for note in gesture.notes)
    return f"{gesture.action} {strings}" if strings else gesture.action


def _spoken_string(note: StringNote) -> str:
    """Return where a string is struck: ``4 fret 2``; what its sign means in words."""
    if note.fret is None:
        return "a note that no string has"
    octaves = f", {moved_words(note.off_neck)}" if note.off_neck else ""
    return f"{note.string} fret {note.fret}{octaves}"
