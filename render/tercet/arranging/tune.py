"""A row of notes as one run through the piece: ties joined over bars, each note with its chord and its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.arranging.piece import Piece, Spot
from tercet.song import Note, Pin, Source
from tercet.song.styles import STYLES
from tercet.theory import Chord

__all__ = ["SHORTEST_SPACE_PULSES", "TuneNote", "row_notes", "single_notes"]

SHORTEST_SPACE_PULSES = 2
"""A space of the tune is filled with strums when it lasts at least this long."""


@dataclass(frozen=True, slots=True)
class TuneNote:
    """A note that is struck: one or more tied written notes.

    Parameters
    ----------
    spot
        Where it is struck.
    length_beat, end_beat
        How long it is held, ties included, and where it ends in the piece as played.
    midi
        MIDI key number that sounds.
    chord, chord_frets, chord_fingers
        The chord it is rolled over, None for none, and the shape that the song asks for: four frets, string 4
        first, None for a string that is not played; and the fingers on them.
    chord_comes
        Whether that chord comes in with the note.
    position
        (string, fret) that the song asks for.
    pin
        Fingering that the song asks for.
    own
        Whether its bar was replaced for this pass.
    source
        Where it stands in the file.
    off_neck
        By how many octaves it must be moved, as written, before a string has it.
    pin_of_part
        Whether it isn't the song that pins it but the part that is made of it.
    """

    spot: Spot
    length_beat: Fraction
    end_beat: Fraction
    midi: int
    chord: Chord | None
    chord_frets: tuple[int | None, ...] | None
    chord_comes: bool
    position: tuple[int, int] | None
    pin: Pin | None
    own: bool
    source: Source
    off_neck: int = 0
    pin_of_part: bool = False
    chord_fingers: tuple[int, ...] | None = None

    @property
    def start_beat(self) -> Fraction:
        """Where it begins in the piece as played."""
        return self.spot.beat

    @property
    def played_pin(self) -> Pin | None:
        """The fingering that the song asks for, as its style has it: without rolls, a roll's last string alone."""
        if self.pin is None or STYLES[self.spot.style].rolled != "none":
            return self.pin
        return Pin("alone", self.pin.strings[-1:])

    def may_lie(self, string: int, fret: int) -> bool:
        """Whether the song lets it be struck alone there: its position and its pin are kept."""
        if self.position is not None and (string, fret) != self.position:
            return False
        return self.pin is None or self.pin.strings in ((), (string,))


def row_notes(piece: Piece, row: str = "melody") -> Iterator[TuneNote]:
    """Yield the struck notes of the `melody` or the `between` row of the piece as played, ties joined."""
    struck: tuple[int, Note] | None = None
    length_beat = Fraction(0)
    tied = False
    for index, bar in enumerate(piece.bars):
        for note in (bar.melody if row == "melody" else bar.between) or ():
            if struck is not None and tied and not note.is_rest:
                length_beat += note.length_beat
            else:
                if struck is not None:
                    yield _tune_note(piece, *struck, length_beat)
                struck = None if note.is_rest else (index, note)
                length_beat = note.length_beat
            tied = note.tied_on
        if row == "between" and bar.between is None:
            tied = False
    if struck is not None:
        yield _tune_note(piece, *struck, length_beat)


def _tune_note(piece: Piece, bar_index: int, note: Note, length_beat: Fraction) -> TuneNote:
    """Return a struck note with all that is known about it."""
    spot = piece.spot(bar_index, note.start_beat)
    span, comes = piece.chord_under(spot.beat, length_beat)
    midi = note.pitch.midi if note.pitch else piece.tuning.midi(*(note.position or (1, 0)))
    return TuneNote(
        spot=spot,
        length_beat=length_beat,
        end_beat=spot.beat + length_beat,
        midi=midi,
        chord=span.chord,
        chord_frets=span.shape if span.chord else None,
        chord_comes=comes,
        position=note.position,
        pin=note.pin,
        own=piece.bars[bar_index].own,
        source=note.source,
        off_neck=note.off_neck,
        chord_fingers=span.fingers if span.chord else None,
    )


def single_notes(notes: Iterable[TuneNote]) -> Iterator[TuneNote]:
    """Yield the notes of the tune, each to be played alone; pins that say so already are kept."""
    for note in notes:
        alone = note.pin is not None and note.pin.action == "alone"
        yield note if alone else replace(note, pin=Pin("alone"), pin_of_part=True)
