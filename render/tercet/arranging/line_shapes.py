"""One hand for a whole line: the shape under which the longest stretch of a line's tune lies without moving a finger.

On a reentrant tuning neighbouring notes of a tune often lie on different strings of one shape, so that they ring into
each other. A note lies under a shape where one of its strings sounds the note as it is held: at the fret that is
pressed, or open where the string is left free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from tercet.arranging.arranger import song_tuning
from tercet.arranging.piece import Piece, piece_of
from tercet.arranging.tune import TuneNote, row_notes
from tercet.neck import common_shape
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import EVERY_STRING, PricedHands, priced_hands
from tercet.song import Song
from tercet.theory import Tuning

__all__ = ["HeldNote", "LineShape", "line_shapes"]


@dataclass(frozen=True, slots=True)
class HeldNote:
    """A note of the tune under a held shape.

    Parameters
    ----------
    bar_number
        In the piece as played.
    midi
        MIDI key number.
    string, fret
        Where it lies, string 1 to 4, fret 0 for an open string.
    """

    bar_number: int
    midi: int
    string: int
    fret: int


@dataclass(frozen=True, slots=True)
class LineShape:
    """The hand that carries most of a line.

    Parameters
    ----------
    section, line
        Which section, and which of its lines, from 1.
    first_bar, last_bar
        Of the line, in the piece as played.
    notes
        Notes of the line's tune that are struck, a pick-up among them.
    hand
        The hand that is held; None where no note of the line lies on these strings within the players' reach.
    held
        The longest stretch of notes that lie under it, in order.
    in_chord
        For how many of these notes all four strings of the shape sound the chord.
    known_as
        The chord of the stretch that players know by this shape; empty without one.
    """

    section: str
    line: int
    first_bar: int
    last_bar: int
    notes: int
    hand: Hand | None
    held: tuple[HeldNote, ...] = ()
    in_chord: int = 0
    known_as: str = ""


def line_shapes(song: Song, tuning: Tuning | None = None) -> tuple[LineShape, ...]:
    """Return a hand for each line of music, as its section is first played; lines without a tune are left out.

    Of all hands that these players may hold, it is the one under which most notes in a row lie. Ties go to the longer
    time, then to the shape that sounds the chord under more of the notes, to shapes known by the chord's name, to what
    costs less to hold, to lower frets on the strings from 4 to 1, to the lower position, and to the earlier stretch.

    Parameters
    ----------
    song
        As written; its pins aren't looked at.
    tuning
        The strings; the song's own without it.
    """
    piece = piece_of(song, tuning if tuning is not None else song_tuning(song))
    board = priced_hands(piece.hands, piece.hands.limits.highest_fret)
    lines = []
    for (section, line), group in groupby(_first_played(piece), key=lambda note: _line_of(note, piece)):
        tune = tuple(group)
        bars = [
            bar.number
            for bar in piece.bars
            if (bar.section, bar.line, bar.pass_number) == (section, line, tune[0].spot.pass_number)
        ]
        found = _longest(tune, board)
        made = LineShape(section, line + 1, min(bars), max(bars), len(tune), None)
        lines.append(_shown(made, tune, piece, board, *found) if found else made)
    return tuple(lines)


def _first_played(piece: Piece) -> list[TuneNote]:
    """Return the notes of each section as it is played for the first time."""
    return [note for note in row_notes(piece) if note.spot.pass_number == 1]


def _line_of(note: TuneNote, piece: Piece) -> tuple[str, int]:
    """Return section and line (from 0) of a note; a pick-up belongs to the first line that it leads into."""
    place = note.spot.place
    return place.section, piece.bars[note.spot.bar_index].line if place.section_bar else 0


def _longest(tune: Sequence[TuneNote], board: PricedHands) -> tuple[int, int, int] | None:
    """Return (row of the board, first note, number of notes) of the best stretch; None where no note lies in it."""
    rows = np.flatnonzero(board.asked & (board.table.position == _own_position(board)))
    lies = np.stack([(board.midis[rows] == note.midi).any(axis=1) for note in tune], axis=1)
    run = np.zeros(lies.shape, dtype=np.int16)
    for place in range(len(tune)):
        run[:, place] = np.where(lies[:, place], (run[:, place - 1] if place else 0) + 1, 0)
    length = int(run.max(initial=0))
    if not length:
        return None
    where, last = np.nonzero(run == length)
    first = last - length + 1
    hand = rows[where]
    hands, which = np.unique(hand, return_inverse=True)
    order = np.lexsort(
        (
            first,
            *board.table.fingers[hand].T[::-1],
            board.table.position[hand],
            *board.table.frets[hand].T[::-1],
            board.holding_cost[hand],
            -_summed(_known(tune, board, hands), which, first, length),
            -_summed(_in_chord(tune, board, hands), which, first, length),
            -_summed(np.array([[float(note.length_beat) for note in tune]]), which * 0, first, length),
        )
    )
    best = order[0]
    return int(hand[best]), int(first[best]), length


def _own_position(board: PricedHands) -> NDArray[np.int8]:
    """Return for each hand its position, 1 for all open strings: those are in the table once for each position."""
    return np.where(board.table.count == 0, np.int8(1), board.table.position)


def _in_chord(tune: Sequence[TuneNote], board: PricedHands, rows: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return (hands, notes): 1 where all strings of the hand sound the chord under the note."""
    columns = [
        board.chord(note.chord).tones(rows) == EVERY_STRING if note.chord else np.zeros(len(rows), np.bool_)
        for note in tune
    ]
    return np.stack(columns, axis=1).astype(np.float64)


def _known(tune: Sequence[TuneNote], board: PricedHands, rows: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return (hands, notes): 1 where players know the hand's shape by the name of the chord under the note."""
    columns = []
    for note in tune:
        known = common_shape(note.chord, board.hands.tuning) if note.chord else None
        columns.append(np.isin(rows, board.rows_of_shape(known) if known else []))
    return np.stack(columns, axis=1).astype(np.float64)


def _summed(
    values: NDArray[np.float64], which: NDArray[np.intp], first: NDArray[np.intp], length: int
) -> NDArray[np.float64]:
    """Return for each stretch the sum of its row of values (hands, notes) from its first note on."""
    before = np.concatenate([np.zeros((len(values), 1)), values.cumsum(axis=1)], axis=1)
    summed: NDArray[np.float64] = before[which, first + length] - before[which, first]
    return summed.round(9)


def _shown(
    made: LineShape,
    tune: Sequence[TuneNote],
    piece: Piece,
    board: PricedHands,
    row: int,
    first: int,
    length: int,
) -> LineShape:
    """Return a line with the hand that was found for it."""
    stretch = tune[first : first + length]
    hand = board.hand(row)
    held: list[HeldNote] = []
    for note in stretch:
        strings = [
            string
            for string in (1, 2, 3, 4)
            if piece.tuning.midi(string, hand.frets[4 - string]) == note.midi
        ]
        before = held[-1].string if held else 0
        string = min(strings, key=lambda string: (string == before, string))
        held.append(
            HeldNote(piece.bars[note.spot.bar_index].number, note.midi, string, hand.frets[4 - string])
        )
    chords = dict.fromkeys(note.chord for note in stretch if note.chord)
    known = (str(chord) for chord in chords if common_shape(chord, piece.tuning) == hand.frets)
    return LineShape(
        made.section,
        made.line,
        made.first_bar,
        made.last_bar,
        made.notes,
        hand,
        tuple(held),
        in_chord=sum(
            note.chord is not None and bool(board.chord(note.chord).tones(np.array([row]))[0] == EVERY_STRING)
            for note in stretch
        ),
        known_as=next(known, ""),
    )
