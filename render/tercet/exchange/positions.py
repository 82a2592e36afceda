"""Strings and frets from outside: kept where they are those of a tuning that Tercet knows by name."""

from __future__ import annotations

from dataclasses import replace

from tercet.exchange.leadsheet import LeadNote, LeadSheet
from tercet.theory import TUNINGS, Tuning

__all__ = ["with_positions_of_a_tuning"]

_DEFAULT = "high-g"


def with_positions_of_a_tuning(sheet: LeadSheet, remarks: list[str]) -> tuple[LeadSheet, str]:
    """Return the sheet, without its strings and frets where no tuning explains all of them, and the tuning."""
    placed = [note for measure in sheet.measures for note in measure.notes if note.position]
    if not placed:
        return sheet, _DEFAULT
    for tuning in TUNINGS.values():
        if all(_is_on(note, tuning) for note in placed):
            return sheet, tuning.name
    remarks.append(
        "strings and frets are left out: they aren't those of a tuning of four strings with a name"
    )
    measures = tuple(
        replace(measure, notes=tuple(replace(note, position=None) for note in measure.notes))
        for measure in sheet.measures
    )
    return replace(sheet, measures=measures), _DEFAULT


def _is_on(note: LeadNote, tuning: Tuning) -> bool:
    if note.position is None or note.pitch is None or not 1 <= note.position[0] <= 4:
        return False
    string, fret = note.position
    return tuning.open_midi(string) + fret == note.pitch.midi
