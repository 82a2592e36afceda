"""Which notes of a take a choice of notes picks: ``open but not strums``, ``odd phrases and melody``."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable

from tercet.arranging import Arrangement
from tercet.performing import TakeNote
from tercet.song import Bar
from tercet.song.choice_words import ChoiceError, parse_choice
from tercet.song.note_choice import Choice, NoteFacts

__all__ = ["Choice", "ChoiceError", "NoteFacts", "facts_of", "parse_choice"]


def facts_of(notes: Iterable[TakeNote], arrangement: Arrangement) -> tuple[NoteFacts, ...]:
    """Return what the notes of a take can be chosen by.

    Parameters
    ----------
    notes
        Of one take, whatever its timeline; with a roll come all its strings.
    arrangement
        What that take plays.

    Returns
    -------
    tuple of NoteFacts
        One for each note, in the same order. The strings of a roll have the string and fret of its tune note, the last
        that is struck: so a roll belongs to the turn of its tune note.
    """
    taken = tuple(notes)
    ends = _tune_notes(taken)
    starts = [float(bar.start_beat) for bar in arrangement.bars]
    last_passes = {visit.section: visit.pass_number for visit in arrangement.song.form if visit.last}
    facts = []
    for note in taken:
        bar = arrangement.bars[max(bisect_right(starts, float(note.beat)) - 1, 0)]
        end = ends.get(note.gesture, note)
        facts.append(
            NoteFacts(
                layer=note.layer,
                string=end.string,
                fret=end.fret,
                action=note.action,
                part=note.part,
                bar_number=bar.number,
                section=note.section,
                section_bar=_section_bar(note, bar),
                pass_number=note.pass_number,
                last_pass=last_passes[note.section] == note.pass_number,
                phrase=note.phrase + 1,
            )
        )
    return tuple(facts)


def _tune_notes(notes: tuple[TakeNote, ...]) -> dict[int, TakeNote]:
    """Return the last string struck of each roll, by its gesture."""
    last: dict[int, TakeNote] = {}
    for note in notes:
        if note.action == "roll":
            other = last.get(note.gesture)
            if other is None or note.onset_s >= other.onset_s:
                last[note.gesture] = note
    return last


def _section_bar(note: TakeNote, bar: Bar) -> int:
    """Return which bar of its section a note is in: 0 where it leads into the section from the bar before."""
    here = (note.section, note.pass_number) == (bar.section, bar.pass_number)
    return bar.section_bar if here else 0
