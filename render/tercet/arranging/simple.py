"""A second, simpler part for beginners: the tune in single notes, and one strum a bar.

It stands on the same bars as the whole part, so that both are played together. There are no rolls and no added notes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from tercet.arranging.fingering import Fingered
from tercet.arranging.model import Gesture
from tercet.arranging.piece import Piece
from tercet.arranging.strums import SlotAt, one_strum_each
from tercet.arranging.tune import TuneNote
from tercet.song import Bar, Pin, Song

__all__ = ["one_strum_a_bar", "simple_song", "single_notes"]

READY_S = 0.25
"""Beginners strum between two pulses only where they have this long before and after."""


def simple_song(song: Song) -> Song:
    """Return a song as beginners are asked to play it."""
    return replace(song, players="beginner")


def single_notes(notes: Iterable[TuneNote]) -> Iterator[TuneNote]:
    """Yield the notes of the tune, each to be played alone; pins that say so already are kept."""
    for note in notes:
        alone = note.pin is not None and note.pin.action == "alone"
        yield note if alone else replace(note, pin=Pin("alone"), pin_of_part=True)


def one_strum_a_bar(fingered: Sequence[Fingered], piece: Piece) -> tuple[Gesture, ...]:
    """Return one down strum for each bar, where the tune leaves room for it.

    That is the bar's first pulse on which no note of the tune begins. Where each pulse has a note, it is the first half
    pulse without one, if there is time; and where the hand can't hold the chord beside the tune there, the next such
    place. A bar without any, or without a chord, has no strum; nor has a pick-up.
    """
    onsets = frozenset(item.note.start_beat for item in fingered)
    return one_strum_each(
        (list(_places(index, bar, onsets, piece)) for index, bar in enumerate(piece.bars)), fingered, piece
    )


def _places(index: int, bar: Bar, onsets: frozenset[Fraction], piece: Piece) -> Iterator[SlotAt]:
    """Yield the places of a bar where nothing of the tune begins: pulses, then halves of pulses."""
    if not bar.section_bar:
        return
    pulses = [piece.pulse_beat * place for place in range(piece.song.meter.pulses)]
    halves = [beat + piece.part_beat for beat in pulses] if _has_time(piece) else []
    for beat in (*pulses, *halves):
        if beat < bar.pickup_from and bar.start_beat + beat not in onsets:
            yield SlotAt(index, beat, bar.start_beat + beat, "d", written=False)


def _has_time(piece: Piece) -> bool:
    return float(piece.part_beat) * piece.beat_s >= READY_S
