"""What two readers hear of one tune, and where they first differ."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tercet.exchange import LeadSheet, imported_text
from tercet.song import Song, played_bars
from tercet.theory import tuning_of

EXACT = "exact"
BUT_FOR_RESTS = "exact but for rests that are said"
"""The same notes in the same lengths, with a remark that short measures were filled up with rests."""

_TIMES = re.compile(r"the tune is played (\d+) times")

Heard = tuple[int, Fraction, Fraction]
"""Key number, onset and length in quarters from the first note."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What the song plays that an import wrote, and what was said on the way."""

    notes: list[Heard]
    remarks: tuple[str, ...]


def imported(sheet: LeadSheet) -> Imported:
    """Return what the written song of a lead sheet plays; `TercetError` when it can't become one."""
    _, song, remarks = imported_text(sheet, "tune")
    return Imported(heard_song(song), remarks)


def heard_song(song: Song) -> list[Heard]:
    """Return the notes that a song plays, form and passes followed, ties joined."""
    quarter = Fraction(4, song.meter.lower)
    strings = tuning_of(song.tuning)
    notes: list[Heard] = []
    tied = False
    for bar in played_bars(song):
        for note in bar.melody:
            if note.is_rest:
                tied = False
                continue
            midi = note.pitch.midi if note.pitch else strings.midi(*(note.position or (1, 0)))
            length = note.length_beat * quarter
            if tied and notes[-1][0] == midi:
                notes[-1] = (midi, notes[-1][1], notes[-1][2] + length)
            else:
                notes.append((midi, (bar.start_beat + note.start_beat) * quarter, length))
            tied = note.tied_on
    return from_the_first(notes)


def from_the_first(notes: Sequence[Heard]) -> list[Heard]:
    """Return the notes with onsets counted from the first one's."""
    first = notes[0][1] if notes else Fraction(0)
    return [(midi, onset - first, length) for midi, onset, length in notes]


def verdict_of(ours: Sequence[Heard], theirs: Sequence[Heard], tolerance: Fraction) -> str:
    """Return ``"exact"``, or where two readings of a tune first differ."""
    for place, (mine, other) in enumerate(zip(ours, theirs, strict=False), 1):
        same = mine[0] == other[0] and all(
            abs(a - b) <= tolerance for a, b in zip(mine[1:], other[1:], strict=True)
        )
        if not same:
            return f"note {place} of {len(ours)}: {_told(mine)} here, {_told(other)} there"
    return EXACT if len(ours) == len(theirs) else f"{len(ours)} notes here, {len(theirs)} there"


def verdict_of_song(
    ours: Sequence[Heard], theirs: Sequence[Heard], tolerance: Fraction, remarks: Sequence[str] = ()
) -> str:
    """Return the verdict on a written song, which may be played several times, once for each verse.

    Parameters
    ----------
    ours, theirs
        What the song plays, and what another reader plays of the same file, repeats unfolded.
    tolerance
        In quarters.
    remarks
        What was said on the way: how often the tune is played; and where rests that fill a short measure are said,
        they are forgiven, and told apart.
    """
    first = verdict_of(ours, theirs, tolerance)
    said = _TIMES.search(" ".join(remarks))
    if first == EXACT or len(ours) != len(theirs) * (int(said[1]) if said else 1):
        return first
    rounds = [ours[at : at + len(theirs)] for at in range(0, len(ours), len(theirs))]
    if all(verdict_of(from_the_first(each), theirs, tolerance) == EXACT for each in rounds):
        return EXACT
    filled = any("filled up with rests" in remark or "with rests before it" in remark for remark in remarks)
    if filled and all(_same_but_for_rests(each, theirs, tolerance) for each in rounds):
        return BUT_FOR_RESTS
    return first


def _same_but_for_rests(ours: Sequence[Heard], theirs: Sequence[Heard], tolerance: Fraction) -> bool:
    """Return whether the same notes are played in the same lengths, and none of ours comes sooner."""
    late = [mine[1] - other[1] for mine, other in zip(from_the_first(ours), theirs, strict=True)]
    return all(
        mine[0] == other[0] and abs(mine[2] - other[2]) <= tolerance
        for mine, other in zip(ours, theirs, strict=True)
    ) and all(later - sooner >= -tolerance for sooner, later in pairwise(late))


def _told(note: Heard) -> str:
    return f"key {note[0]} at {float(note[1]):g} for {float(note[2]):g}"
