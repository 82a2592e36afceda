"""The notes that the song adds between the rolls, as its own `between` row says."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tercet.arranging.choices import Stroke, single_strokes
from tercet.arranging.fingering import Fingered, unreachable
from tercet.arranging.model import NotePart, Problem
from tercet.arranging.piece import Piece, begun
from tercet.arranging.problems import added_problem, left_out_problem, let_go_problem
from tercet.arranging.tune import TuneNote, row_notes
from tercet.neck.demands import Hands
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import OPEN_HAND, hands_up_to
from tercet.song import Source

__all__ = ["Added", "added_note", "easiest", "place_added"]


@dataclass(frozen=True, slots=True)
class Added:
    """An added note with its stroke.

    Parameters
    ----------
    note, stroke
        What is written, and how it is played.
    reached
        Whether a string has it.
    let_go_beat
        Where the tune takes its string or its finger from it, before its written end; None where it doesn't.
    part
        What it is: a note that is added, or a string of a broken chord.
    """

    note: TuneNote
    stroke: Stroke
    reached: bool = True
    let_go_beat: Fraction | None = None
    part: NotePart = "added"

    @property
    def end_beat(self) -> Fraction:
        """Where it stops."""
        return self.note.end_beat if self.let_go_beat is None else self.let_go_beat


def place_added(fingered: Sequence[Fingered], piece: Piece) -> tuple[tuple[Added, ...], tuple[Problem, ...]]:
    """Place the notes of the `between` rows that the song gives.

    An added note keeps off the string on which the tune rings, and off all strings of a roll at the same moment; of
    those left it takes one that the tune leaves alone as long as it lasts. What can't be played together with a note of
    the tune is left out and told.
    """
    added: list[Added] = []
    problems: dict[object, Problem] = {}
    for note, held, later in _with_tune(row_notes(piece, "between"), fingered):
        choice, told = _place(note, held, later, piece)
        if choice is not None:
            added.append(choice)
        for problem in told:
            problems.setdefault((note.spot.place, problem.message), problem)
    return tuple(added), tuple(problems.values())


def _with_tune(
    added: Iterator[TuneNote], fingered: Sequence[Fingered]
) -> Iterator[tuple[TuneNote, Fingered | None, Sequence[Fingered]]]:
    """Yield each added note, the last note of the tune that begins no later, and those that begin while it rings."""
    starts = [float(item.note.start_beat) for item in fingered]
    for note in added:
        now = begun(starts, note.start_beat)
        later = fingered[now : bisect_left(starts, float(note.end_beat))]
        yield note, fingered[now - 1] if now else None, later


def _place(
    note: TuneNote, held: Fingered | None, later: Sequence[Fingered], piece: Piece
) -> tuple[Added | None, list[Problem]]:
    """Choose the string of one added note over the hand that the tune holds; None where there is none for it."""
    shape = held.stroke.shape if held else OPEN_HAND.frets
    anyhow = list(single_strokes(note.midi, shape, piece.hands))
    if not anyhow:
        rings = held is not None and note.start_beat < held.note.end_beat
        busy = held.stroke.struck if held is not None and rings else ()
        return Added(note, unreachable(note.midi, shape, piece.tuning, busy), reached=False), []
    free = anyhow
    if held is not None and note.start_beat < held.note.end_beat:
        together = held.note.start_beat == note.start_beat
        keep = (held.stroke.string,) if held.reached else ()
        busy = held.stroke.struck if together else (held.stroke.string,)
        over = single_strokes(note.midi, shape, piece.hands, keep)
        free = [stroke for stroke in over if stroke.string not in busy]
        if not free and together:
            return None, [left_out_problem(note, held.note, piece)]
    asked = [stroke for stroke in free or anyhow if note.may_lie(stroke.string, stroke.fret)]
    places = asked or free or anyhow
    longest = [stroke for stroke in places if _let_go_beat(stroke, later) is None]
    stroke = easiest(longest or places, held.hand if held else None, piece.hands)
    told = [] if longest else [let_go_problem(note, piece)]
    if not (free and asked):
        told.append(added_problem(note, piece, taken=not free))
    return Added(note, stroke, let_go_beat=_let_go_beat(stroke, later)), told


def _let_go_beat(stroke: Stroke, later: Iterable[Fingered]) -> Fraction | None:
    """Return where a later note of the tune strikes the string of an added note, or takes the finger from it."""
    for item in later:
        if stroke.string in item.stroke.struck or item.stroke.shape[4 - stroke.string] != stroke.fret:
            return item.note.start_beat
    return None


def easiest(strokes: Sequence[Stroke], before: Hand | None, hands: Hands) -> Stroke:
    """Return the stroke that is cheapest to get to from the hand before, an open one without it."""
    before = before or OPEN_HAND
    priced = hands_up_to(
        hands, before.position, *before.frets, *(fret for stroke in strokes for fret in stroke.shape)
    )
    return min(
        strokes, key=lambda stroke: (stroke.cost + priced.cost_to(before, stroke.shape), stroke.string)
    )


def added_note(midi: int, bar_index: int, beat: Fraction, end_beat: Fraction, piece: Piece) -> TuneNote:
    """Return a note that Tercet adds, which stands nowhere in the file."""
    bar = piece.bars[bar_index]
    return TuneNote(
        spot=piece.spot(bar_index, beat - bar.start_beat),
        length_beat=end_beat - beat,
        end_beat=end_beat,
        midi=midi,
        chord=piece.chord_at(beat).chord,
        chord_frets=None,
        chord_comes=False,
        position=None,
        pin=None,
        own=bar.own,
        source=Source(0, 0),
    )
