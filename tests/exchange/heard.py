"""What two readers hear of one tune, and where they first differ."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tercet.exchange.leadsheet import LeadMeasure

Heard = tuple[int, Fraction, Fraction]
"""Key number, onset and length in quarters from the first note."""


def heard_measures(measures: Sequence[LeadMeasure]) -> list[Heard]:
    """Return the notes of measures in this order, ties joined."""
    now = Fraction(0)
    notes: list[Heard] = []
    tied = False
    for measure in measures:
        for note in measure.notes:
            start = now + note.start_quarter
            if note.pitch is None:
                tied = False
                continue
            before = notes[-1] if notes else None
            if (
                tied
                and before is not None
                and before[0] == note.pitch.midi
                and before[1] + before[2] == start
            ):
                notes[-1] = (before[0], before[1], before[2] + note.length_quarter)
            else:
                notes.append((note.pitch.midi, start, note.length_quarter))
            tied = note.tied_on
        now += measure.length_quarter
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
    return "exact" if len(ours) == len(theirs) else f"{len(ours)} notes here, {len(theirs)} there"


def _told(note: Heard) -> str:
    return f"key {note[0]} at {float(note[1]):g} for {float(note[2]):g}"
