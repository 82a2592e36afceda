"""What must hold for the piece as played: ties that continue, words that fit, room for pick-ups, hairpins that end.

These depend on what is played after what, so they are checked along the form, pass by pass. What couldn't be
read (`tercet.song.cells.BROKEN`) is passed over in silence: it has its mistake already.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, zip_longest

from tercet.song.form import visits_of
from tercet.song.mistakes import MistakeBook, show_beats
from tercet.song.model import Layer, Mark, Note, Row, RowName, Song, Source, Syllable, Visit
from tercet.song.played import Step, cut, steps_of, struck_notes
from tercet.theory import tuning_of

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
    _check_walk(song, song.form, broken, book, ends=True)
    played = {visit.section for visit in song.form}
    for section in song.sections:
        if section.name not in played:
            _check_walk(song, visits_of([section.name]), broken, book, ends=False)


def _check_walk(
    song: Song, form: tuple[Visit, ...], broken: frozenset[str], book: MistakeBook, ends: bool
) -> None:
    walk = list(_walk(song, form, broken))
    _check_room(walk, book)
    for layer in _NOTE_LAYERS:
        _check_ties(song, walk, layer, book, ends)
    _check_words(song, walk, book)
    if ends and not broken and all(placed.step.marks != () for placed in walk):
        _check_hairpins(walk, book)


def _walk(song: Song, form: tuple[Visit, ...], broken: frozenset[str]) -> Iterator[_Placed]:
    start_beat = Fraction(0)
    for visit in form:
        if visit.section in broken:
            yield _Placed(_nothing(visit), start_beat, known=False)
            continue
        for step in steps_of(song.section(visit.section), visit, song.meter.bar_beat):
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
            taken = next((note for note in notes if note.start_beat >= at and not note.is_rest), None)
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


def _check_ties(song: Song, walk: list[_Placed], layer: RowName, book: MistakeBook, ends: bool) -> None:
    """Note ties that don't go on with the same pitch, wherever the form leads."""
    strings = tuning_of(song.tuning)

    def midi(note: Note) -> int | None:
        if note.position is not None:
            return strings.midi(*note.position)
        return note.pitch.midi if note.pitch is not None else None

    tied: tuple[Note, Step] | None = None
    for placed, following in zip_longest(walk, walk[1:]):
        notes = _notes(placed.step, layer)
        if not placed.known or notes == ():
            tied = None
            continue
        if following is not None and following.step.section_bar == 0 and _notes(following.step, layer):
            notes = cut(notes or (), placed.step.length_beat - following.step.length_beat)
        if tied is not None and not notes:
            if placed.step.section_bar != 0:
                _note_tie(tied, None, placed.step, layer, book)
                tied = None
            continue
        for note in notes or ():
            if tied is not None and midi(tied[0]) != midi(note):
                _note_tie(tied, note, placed.step, layer, book)
            elif tied is not None and note.pin is not None:
                book.add(
                    "this note continues a tie: it isn't struck, so it takes no pin",
                    note.source,
                    layer,
                    "put the pin on the first of the tied notes",
                )
            tied = (note, placed.step) if note.tied_on else None
    if tied is not None and ends:
        _note_tie(tied, None, None, layer, book)


def _note_tie(
    tied: tuple[Note, Step], found: Note | None, step: Step | None, layer: RowName, book: MistakeBook
) -> None:
    note, start = tied
    name = "s{}f{}".format(*note.position) if note.position else str(note.pitch)
    if step is None:
        after = "nothing comes after it"
    elif found is None or found.is_rest:
        after = (
            "a rest comes after it" if found or layer == "melody" else "a bar without notes comes after it"
        )
    else:
        after = f"{'s{}f{}'.format(*found.position) if found.position else found.pitch} comes after it"
    where = ""
    if step is not None and step.visit != start.visit:
        where = f" when the form goes on with `{step.visit.section}`"
    book.add(
        f"{name} is tied on, but {after}{where}",
        note.source,
        layer,
        f"write {name} there too, or remove the ~",
    )


def _check_words(song: Song, walk: list[_Placed], book: MistakeBook) -> None:
    """Note bars without exactly one syllable, or ``_``, for each note that is struck."""
    tied: bool | None = False
    wrong: set[Source] = set()
    for placed, following in zip_longest(walk, walk[1:]):
        step = placed.step
        notes = step.melody
        if not placed.known or notes == ():
            tied = None
            continue
        if step.words and tied is not None:
            struck = struck_notes(notes or (), tied)
            if len(struck) != len(step.words) and step.words[0].source not in wrong:
                wrong.add(step.words[0].source)
                _note_count(song, step, struck, step.words, book)
        if following is not None and following.step.section_bar == 0 and following.step.melody:
            notes = cut(notes or (), step.length_beat - following.step.length_beat)
        if notes:
            tied = notes[-1].tied_on
        elif step.section_bar != 0:
            tied = False


def _note_count(
    song: Song, step: Step, struck: list[Note], words: tuple[Syllable, ...], book: MistakeBook
) -> None:
    first, last = words[0].source, words[-1].source
    place = replace(first, width=last.column + last.width - first.column)
    sung = [syllable.text or "_" for syllable in words]
    count = f"{len(sung)} syllable{'s' if len(sung) != 1 else ''} ({' '.join(sung)})"
    notes = f"{len(struck)} struck note{'s' if len(struck) != 1 else ''}"
    if struck:
        notes += f" ({' '.join(_note_name(note) for note in struck)})"
    what = "pick-up" if step.section_bar == 0 else "bar"
    on_pass = f" on pass {step.visit.pass_number}" if _varies(song, step) else ""
    if len(sung) < len(struck):
        mend = f"add {len(struck) - len(sung)}: `-` splits a word, `_` holds a syllable over one more note"
    else:
        mend = f"remove {len(sung) - len(struck)}; a note that a tie continues has no syllable"
    if step.visit.pass_number > 1 and _in_plain_row(song, step, first):
        mend += f"; or write a row `words {step.visit.pass_number}` for this pass"
    if any(sign in syllable.text for syllable in words for sign in "–—"):
        mend = "write the plain hyphen - between syllables, not a dash"
    book.add(f"this {what} has {count} for {notes}{on_pass}", place, "words", mend)


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
                    f"the hairpin {mark.value} has no end: no dynamic mark comes after it",
                    _source(mark),
                    "marks",
                    "write where it leads, such as f@1 in the bar where it ends",
                )
        if mark.kind in ("dynamic", "hairpin"):
            latest[mark.layer] = max(latest.get(mark.layer, at_beat), at_beat)


def _source(mark: Mark) -> Source:
    return mark.source
