"""Bars that settings add to a song from what it has itself: an intro, turnarounds, a tag.

A *lead-in* (intro or turnaround) plays the chords of the last bars of the section that it leads into, without the tune:
the way into that section's second pass, so that the ear expects its first note. A *tag* plays the last bars of the
piece once more, tune and chords. Each is a section of its own in the piece as played, and its bars are ordinary bars.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.song.form import played_form
from tercet.song.mistakes import MistakeBook
from tercet.song.model import TAG, Layer, Mark, Note, Section, Song, Source, Syllable, Visit
from tercet.song.steps import Step, steps_of
from tercet.theory.signs import in_front
from tercet.wording import counted

__all__ = ["Playing", "check_added", "playings"]

_TAG_BARS = 2
"""How many bars a tag has where the song doesn't say; those in which the last note only rings on come on top."""


@dataclass(frozen=True, slots=True)
class Playing:
    """One playing of a section: its visit, and its steps; none where nothing can be said of the section."""

    visit: Visit
    steps: tuple[Step, ...]


def playings(song: Song, broken: frozenset[str] = frozenset()) -> Iterator[Playing]:
    """Go through the form as played, added sections included.

    Parameters
    ----------
    song
        As written.
    broken
        Sections of which nothing can be said.
    """
    form = played_form(song)
    before: list[Step] = []
    written: list[Step] = []
    for index, visit in enumerate(form):
        if song.adds(visit.section):
            source = _source(song, form, index)
            if source.name in broken:
                steps = []
            elif visit.section == TAG:
                steps = _tag(song, visit, written, before)
            else:
                steps = _lead_in(song, visit, source, _level(song, form, index, [*before, *written]))
        elif visit.section in broken:
            steps = written = []
        else:
            before += written
            steps = written = _steps(song, visit)
            if index and song.adds(form[index - 1].section):
                steps = _at_level(steps, _level(song, form, index, before))
            if all(song.adds(later.section) for later in form[index + 1 :]) and form[-1].section == TAG:
                steps = _in_time(steps, _tag_count(song, written))
        yield Playing(visit, tuple(steps))


def _source(song: Song, form: Sequence[Visit], index: int) -> Section:
    """Return the section whose bars an added one plays: what it leads into, or at the end the last."""
    near = (*form[index:], *form[index::-1])
    return song.section(next(visit.section for visit in near if not song.adds(visit.section)))


def _steps(song: Song, visit: Visit) -> list[Step]:
    return list(steps_of(song.section(visit.section), visit, song.meter.bar_beat))


# ---- lead-ins


def _lead_in(song: Song, visit: Visit, section: Section, level: str) -> list[Step]:
    """Return the chords that lead into a section, as strums: the tune rests, and a pick-up has room.

    With nobody in front the strums come forward, as they do in the chords alone; but not in a song that says how far
    they lie behind.
    """
    count = song.lead_in_bars(visit.section)
    bars = _bars(_steps(song, Visit(section.name, 1, last=False)))
    while len(bars) > count and _only_rings(bars[-1], bars[-2]):
        bars.pop()
    steps = [
        replace(
            step,
            visit=visit,
            section_bar=number,
            line=step.line - bars[-count].line,
            melody=None,
            between=None,
            words=None,
            marks=None,
            own=False,
        )
        for number, step in enumerate(bars[-count:], 1)
    ]
    forward = (_dynamic(in_front(level), "strums"),) if song.front is None else ()
    return [replace(steps[0], marks=(_dynamic(level), *forward)), *steps[1:]]


def _dynamic(value: str, layer: Layer | None = None) -> Mark:
    return Mark(Fraction(0), "dynamic", value, layer)


def _level(song: Song, form: Sequence[Visit], index: int, before: Sequence[Step]) -> str:
    """Return the mark at which the section begins that comes at or after a place of the form."""
    following = next((visit for visit in form[index:] if not song.adds(visit.section)), None)
    stated = _stated(_steps(song, following)) if following is not None else ""
    return stated or _in_force(song, before)


def _stated(steps: Sequence[Step]) -> str:
    """Return the bare dynamic at the start of a section, or of the bar after its pick-up; nothing without one."""
    opening = steps[: 1 + (steps[0].section_bar == 0)]
    marks = [mark for step in opening for mark in step.marks or () if mark.at_beat == 0]
    return next((mark.value for mark in marks if mark.kind == "dynamic" and mark.layer is None), "")


def _in_force(song: Song, steps: Sequence[Step]) -> str:
    """Return the last bare dynamic of what was played."""
    marks = [mark for step in steps for mark in sorted(step.marks or (), key=lambda mark: mark.at_beat)]
    bare = [mark.value for mark in marks if mark.kind == "dynamic" and mark.layer is None]
    return bare[-1] if bare else song.dynamics.melody


def _at_level(steps: Sequence[Step], level: str) -> list[Step]:
    """Return steps that begin at a level, whatever was played before them."""
    first = steps[0]
    if _stated(steps) or first.marks == ():
        return list(steps)
    return [replace(first, marks=(_dynamic(level), *(first.marks or ()))), *steps[1:]]


def _bars(steps: Sequence[Step]) -> list[Step]:
    return [step for step in steps if step.section_bar]


def _only_rings(step: Step, before: Step) -> bool:
    """Whether nothing of the tune is struck in a bar, and the chord of the bar before just goes on."""
    chord = before.chords[-1].played_as if before.chords else None
    return not _strikes(step) and all(span.played_as == chord for span in step.chords or ())


def _strikes(step: Step) -> bool:
    return any(note.is_struck for note in step.melody or ())


# ---- the tag


def _tag_count(song: Song, written: Sequence[Step]) -> int:
    """Return how many bars the tag has: as the song says, else the last two of the last line and what rings on."""
    if song.tag_bars:
        return song.tag_bars
    bars = _bars(written)
    ringing = 0
    while ringing < len(bars) - 1 and not _strikes(bars[-1 - ringing]):
        ringing += 1
    if ringing == len(bars) - 1:
        ringing = 0
    return min(_TAG_BARS + ringing, sum(step.line == bars[-1].line for step in bars))


def _tag(song: Song, visit: Visit, written: Sequence[Step], before: Sequence[Step]) -> list[Step]:
    """Return the last bars once more, with the ritard and the fermatas that the bars themselves give up for it."""
    count = _tag_count(song, written)
    bars = _bars(written)[-count:]
    steps = [
        replace(step, visit=visit, section_bar=number, line=step.line - bars[0].line, own=False)
        for number, step in enumerate(bars, 1)
    ]
    slowing = _last_ritard(written)
    if slowing is not None and slowing[0] < len(written) - count:
        steps[0] = replace(steps[0], marks=(Mark(Fraction(0), "rit"), *(steps[0].marks or ())))
    earlier = [*before, *written[: len(written) - count]]
    steps = _at_level(steps, _in_force(song, earlier))
    return [
        replace(
            steps[0],
            melody=_struck_anew(steps[0].melody, [step.melody for step in earlier]),
            between=_struck_anew(steps[0].between, [step.between for step in earlier]),
            words=_words_anew(steps[0]),
        ),
        *steps[1:],
    ]


def _in_time(written: Sequence[Step], count: int) -> list[Step]:
    """Return the last playing before a tag without the ritard that ends it, and its last bars without fermatas."""
    slowing = _last_ritard(written)
    steps = []
    for index, step in enumerate(written):
        marks = step.marks
        if marks and index >= len(written) - count:
            marks = tuple(mark for mark in marks if mark.kind != "fermata")
        if marks and slowing is not None and slowing[0] == index:
            marks = tuple(mark for mark in marks if mark is not slowing[1])
        steps.append(replace(step, marks=marks or None) if step.marks else step)
    return steps


def _last_ritard(steps: Sequence[Step]) -> tuple[int, Mark] | None:
    """Return the ritard that lasts to the end, with the index of its step; None without one."""
    last = None
    for index, step in enumerate(steps):
        for mark in sorted(step.marks or (), key=lambda mark: mark.at_beat):
            if mark.kind == "rit":
                last = index, mark
            elif mark.kind == "a-tempo":
                last = None
    return last


def _struck_anew(
    notes: tuple[Note, ...] | None, earlier: Sequence[tuple[Note, ...] | None]
) -> tuple[Note, ...] | None:
    """Return the notes of a bar, a first one that goes on struck with the pitch of what it goes on with."""
    if not notes or not notes[0].goes_on:
        return notes
    held = next(
        (note for row in reversed(earlier) for note in reversed(row or ()) if not note.goes_on),
        Note(Fraction(0), notes[0].length_beat),
    )
    first = replace(notes[0], goes_on=False, pitch=held.pitch, position=held.position)
    return first, *notes[1:]


def _words_anew(step: Step) -> tuple[Syllable, ...] | None:
    """Return the words of a tag's first bar: a note that is struck anew has no syllable of its own."""
    held = bool(step.words and step.melody and step.melody[0].goes_on)
    return (Syllable(""), *(step.words or ())) if held else step.words


# ---- what can't be added


def check_added(song: Song, places: dict[str, Source], broken: frozenset[str], book: MistakeBook) -> bool:
    """Note bars that can't be added to a song as it asks; return whether it can be played.

    Parameters
    ----------
    song
        As read.
    places
        Where the settings `intro`, `turnaround` and `ending` stand.
    broken
        Sections of which nothing can be said.
    book
        Where mistakes are noted.
    """
    told = len(book)
    form = played_form(song)
    if not form:
        return False
    for section in song.sections:
        if song.adds(section.name):
            setting = "ending" if section.name == TAG else section.name
            book.add(
                f"the song has a section `{section.name}` of its own",
                places[setting],
                setting,
                "leave this setting out, or give the section another name",
            )
    if len(book) > told:
        return False
    if song.turnaround_bars and all(visit.section != "turnaround" for visit in form):
        first = next(visit.section for visit in form if not song.adds(visit.section))
        book.add(
            f"the form never comes back to `{first}`, so no turnaround is played",
            places["turnaround"],
            "turnaround",
            "write turnaround into the form, before the section that it is to lead into; or leave this setting out",
        )
    for index, visit in enumerate(form):
        if song.adds(visit.section):
            source = _source(song, form, index)
            if source.name not in broken:
                _check_bars(song, visit.section, source, places, book)
    return len(book) == told


def _check_bars(song: Song, name: str, source: Section, places: dict[str, Source], book: MistakeBook) -> None:
    """Note an added section that asks for more bars than there are, or for chords where there are none."""
    setting = "ending" if name == TAG else name
    asked = song.tag_bars or 0 if name == TAG else song.lead_in_bars(name)
    if asked > source.bar_count:
        book.add(
            f"asks for {counted(asked, 'bar')} of `{source.name}`, which has {source.bar_count}",
            places[setting],
            setting,
            f"write at most {source.bar_count}; 2 or 4 are usual",
        )
    elif name != TAG:
        steps = _lead_in(song, Visit(name, 1, last=True), source, song.dynamics.melody)
        spans = [span for step in steps for span in step.chords or ()]
        if spans and all(span.chord is None for span in spans):
            book.add(
                f"has no chord to play: N.C. stands in the last bars of `{source.name}`",
                places[setting],
                setting,
                "write chords there, or leave the setting out",
            )
