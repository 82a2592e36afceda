"""What must hold for the piece as played: notes that go on, words that fit, room for pick-ups, hairpins that end.

These depend on what is played after what, so they are checked along the form, pass by pass. What couldn't be
read (`tercet.song.cells.BROKEN`) is passed over in silence: it has its mistake already.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, zip_longest

from tercet.errors import Edit
from tercet.neck import fault_of_stretch
from tercet.song.added_bars import Playing, playings
from tercet.song.chord_shapes import as_held
from tercet.song.form import visits_of
from tercet.song.mistakes import MistakeBook, show_beats
from tercet.song.model import (
    ChordSpan,
    Layer,
    Mark,
    Note,
    Row,
    RowName,
    Song,
    Source,
    Syllable,
    Visit,
    notes_sung,
)
from tercet.song.played import cut
from tercet.song.spelling import number_text
from tercet.song.steps import Step, steps_of
from tercet.wording import counted

__all__ = ["check_laws"]

_NOTE_LAYERS: tuple[RowName, ...] = ("melody", "between")


@dataclass(frozen=True, slots=True)
class _Placed:
    """A step and where it starts in the piece as played; `known` is False where nothing could be read."""

    step: Step
    start_beat: Fraction
    known: bool = True


def check_laws(song: Song, broken: frozenset[str], book: MistakeBook) -> None:
    """Check the song along its form, then each section that the form leaves out by itself.

    Parameters
    ----------
    song
        The song; bars that couldn't be read are `BROKEN`.
    broken
        Sections of which nothing can be said.
    book
        Where mistakes are noted.
    """
    _check_stretches(song, book)
    _check_walk(song, playings(song, broken), book, from_start=True, whole=not broken)
    played = {visit.section for visit in song.form} | broken
    for section in song.sections:
        if section.name not in played:
            (visit,) = visits_of([section.name])
            alone = Playing(visit, tuple(steps_of(section, visit, song.meter.bar_beat)))
            _check_walk(song, [alone], book, from_start=False, whole=False)


def _check_stretches(song: Song, book: MistakeBook) -> None:
    """Note the chords whose fingers lie too far apart on the song's instrument."""
    rows = (row for section in song.sections for line in section.lines for row in line.rows)
    cells = (cell for row in rows if row.name == "chords" for cell in (row.pickup, *row.bars))
    for span in (item for cell in cells for item in cell or ()):
        if not isinstance(span, ChordSpan) or span.shape is None or span.fingers is None:
            continue
        fault = fault_of_stretch(as_held(span.shape), span.fingers, song.scale_length_mm)
        if fault is not None:
            book.add(fault.reason, span.source, "chords", "choose a shape whose frets lie closer together")


def _check_walk(
    song: Song, played: Iterable[Playing], book: MistakeBook, *, from_start: bool, whole: bool
) -> None:
    """Check what is played in a row: `from_start` if the piece starts so, and `whole` if all of it could be read."""
    walk = list(_walk(played))
    _check_room(walk, book)
    for layer in _NOTE_LAYERS:
        _check_going_on(walk, layer, book, from_start=from_start)
    _check_words(song, walk, book)
    if whole and all(placed.step.marks != () for placed in walk):
        _check_hairpins(walk, book)


def _walk(played: Iterable[Playing]) -> Iterator[_Placed]:
    start_beat = Fraction(0)
    for playing in played:
        if not playing.steps:
            yield _Placed(_nothing(playing.visit), start_beat, known=False)
        for step in playing.steps:
            if step.section_bar == 0:
                yield _Placed(step, start_beat - step.length_beat)
            else:
                yield _Placed(step, start_beat)
                start_beat += step.length_beat


def _nothing(visit: Visit) -> Step:
    return Step(visit, 1, 0, Fraction(0), None, None, None, None, None, None, own=False)


def _notes(step: Step, layer: RowName) -> tuple[Note, ...] | None:
    return step.melody if layer == "melody" else step.between


def _check_room(walk: list[_Placed], book: MistakeBook) -> None:
    """Note pick-ups without room: the end of the bar before must be a rest or a held note."""
    for before, placed in pairwise(walk):
        if placed.step.section_bar != 0 or not before.known:
            continue
        length = placed.step.length_beat
        for layer in _NOTE_LAYERS:
            pickup, notes = _notes(placed.step, layer), _notes(before.step, layer)
            if not pickup or not notes:
                continue
            at = before.step.length_beat - length
            said = layer == "melody" and before.step.words
            own = notes_sung(notes) if said else [note for note in notes if note.is_struck]
            taken = next((note for note in own if note.start_beat >= at), None)
            if taken is not None:
                first = pickup[0].source
                book.add(
                    f"`{placed.step.visit.section}` starts with a pick-up of {show_beats(length)}, but the bar before "
                    f"it (`{before.step.visit.section}`, line {taken.source.line}) has a note in that time",
                    first,
                    layer,
                    f"end that bar with a rest or a held note of {show_beats(length)}; or, if no pick-up is meant, "
                    f"fill this bar: it lacks {show_beats(at)}",
                )


def _check_going_on(walk: list[_Placed], layer: RowName, book: MistakeBook, *, from_start: bool) -> None:
    """Note each ``=`` that has nothing to go on with, wherever the form leads.

    `from_start` says whether the walk begins where the piece does; else nobody knows what comes before.
    """
    wrong: set[Source] = set()
    missing = "this is where the piece starts" if from_start else ""
    visit: Visit | None = None
    for placed, following in zip_longest(walk, walk[1:]):
        step = placed.step
        notes = _notes(step, layer)
        if not placed.known or notes == ():
            missing = ""
            continue
        for note in notes or ():
            if note.goes_on and missing and note.source not in wrong:
                wrong.add(note.source)
                where = f" when the form goes on with `{step.visit.section}`"
                _note_nothing_held(note, missing + where * (visit not in (None, step.visit)), layer, book)
            visit = step.visit
            missing = "a rest stands there" if note.is_rest else ""
        if following is not None and following.step.section_bar == 0 and _notes(following.step, layer):
            kept = cut(notes or (), step.length_beat - following.step.length_beat)
            missing = "a rest stands there" if not kept or kept[-1].is_rest else ""
        elif not notes and step.section_bar != 0:
            visit = step.visit
            missing = (
                "a rest stands there" if layer == "melody" else "the bar before has no notes in this row"
            )


def _note_nothing_held(note: Note, missing: str, layer: RowName, book: MistakeBook) -> None:
    length = "" if note.length_beat == 1 else f":{number_text(note.length_beat)}"
    mend = f"write the note itself, for instance C5{length}"
    if "rest" in missing:
        mend += f", or .{length} if the rest goes on"
    book.add(f"= says that the note before goes on, but {missing}", note.source, layer, mend)


def _check_words(song: Song, walk: list[_Placed], book: MistakeBook) -> None:
    """Note bars without exactly one syllable, or ``_``, for each struck note, or for each rest of a bar of rests."""
    wrong: set[Source] = set()
    for placed in walk:
        step = placed.step
        if not placed.known or step.melody == () or not step.words:
            continue
        sung = notes_sung(step.melody or ())
        if len(sung) != len(step.words) and step.words[0].source not in wrong:
            wrong.add(step.words[0].source)
            _note_count(song, step, sung, step.words, book)


def _note_count(
    song: Song, step: Step, struck: Sequence[Note], words: tuple[Syllable, ...], book: MistakeBook
) -> None:
    first, last = words[0].source, words[-1].source
    place = replace(first, width=last.column + last.width - first.column)
    sung = [syllable.text or "_" for syllable in words]
    count = f"{counted(len(sung), 'syllable')} ({' '.join(sung)})"
    notes = f"for {counted(len(struck), 'struck note')}"
    notes += f" ({' '.join(_note_name(note) for note in struck)})"
    if not struck or struck[0].is_rest:
        notes = f"for {counted(len(struck), 'rest')}" if len(struck) > 1 else "and no note that is struck"
    what = "pick-up" if step.section_bar == 0 else "bar"
    on_pass = f" on pass {step.visit.pass_number}" if _varies(song, step) else ""
    if len(sung) < len(struck):
        mend = f"add {len(struck) - len(sung)}: `-` splits a word, `_` holds a syllable over one more note"
    else:
        mend = f"remove {len(sung) - len(struck)}; a note that goes on, written =, has no syllable"
    if step.visit.pass_number > 1 and _in_plain_row(song, step, first):
        mend += f"; or write a row `words {step.visit.pass_number}` for this pass"
    dashed = [syllable for syllable in words if re.search("[–—]", syllable.text)]
    edits: tuple[Edit, ...] = ()
    if dashed:
        mend = "write the plain hyphen - between syllables, not a dash"
        if len(sung) + sum(len(re.findall("[–—](?!$)", each.text)) for each in dashed) == len(struck):
            mend, edits = "", tuple(map(_with_hyphen, dashed))
    book.add(f"this {what} has {count} {notes}{on_pass}", place, "words", mend, edits=edits)


def _with_hyphen(syllable: Syllable) -> Edit:
    place = syllable.source
    text = re.sub("[–—]", "-", syllable.text)
    return Edit(place.line, place.column, place.line, place.column + place.width, text)


def _note_name(note: Note) -> str:
    return "s{}f{}".format(*note.position) if note.position else str(note.pitch)


def _in_plain_row(song: Song, step: Step, place: Source) -> bool:
    """Return whether the words at a place are those of every pass."""
    rows = song.section(step.visit.section).lines[step.line].rows
    return any(row.name == "words" and not row.passes and row.source.line == place.line for row in rows)


def _varies(song: Song, step: Step) -> bool:
    """Return whether the words or the melody of this bar's line differ from pass to pass."""
    rows: tuple[Row, ...] = song.section(step.visit.section).lines[step.line].rows
    return any(row.passes for row in rows if row.name in ("melody", "words"))


def _check_hairpins(walk: list[_Placed], book: MistakeBook) -> None:
    """Note hairpins without an end: a later dynamic mark or hairpin that says something about their layer."""
    placed_marks: list[tuple[Fraction, Mark]] = sorted(
        ((placed.start_beat + mark.at_beat, mark) for placed in walk for mark in placed.step.marks or ()),
        key=lambda pair: pair[0],
    )
    latest: dict[Layer | None, Fraction] = {}
    for at_beat, mark in reversed(placed_marks):
        if mark.kind == "hairpin":
            layers: tuple[Layer | None, ...] = (None, "melody") if mark.layer is None else (None, mark.layer)
            if not any(latest.get(layer, at_beat) > at_beat for layer in layers):
                book.add(
                    f"{mark.value} has no end: no dynamic mark comes after it",
                    _source(mark),
                    "marks",
                    "write where it leads, such as f@1 in the bar where it ends",
                )
        if mark.kind in ("dynamic", "hairpin"):
            latest[mark.layer] = max(latest.get(mark.layer, at_beat), at_beat)


def _source(mark: Mark) -> Source:
    return mark.source
