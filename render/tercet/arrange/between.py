"""The notes that the song adds between the rolls, as its own `between` row says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tercet.arrange.fingering import Fingered, unreachable
from tercet.arrange.hand import OPEN_HAND, change_cost, hand_position
from tercet.arrange.model import Problem
from tercet.arrange.piece import Piece
from tercet.arrange.reports import added_problem, unplayable_problem
from tercet.arrange.strokes import Stroke, single_strokes
from tercet.arrange.tune import TuneNote, row_notes
from tercet.neck import Shape

__all__ = ["Added", "easiest", "place_added"]


@dataclass(frozen=True, slots=True)
class Added:
    """An added note with its stroke; `reached` is False for a note that no string can play."""

    note: TuneNote
    stroke: Stroke
    reached: bool = True


def place_added(fingered: Sequence[Fingered], piece: Piece) -> tuple[tuple[Added, ...], tuple[Problem, ...]]:
    """Place the notes of the `between` rows that the song gives.

    An added note keeps off the string on which the tune rings, and off all strings of a roll at the same moment.
    """
    added: list[Added] = []
    problems: dict[object, Problem] = {}
    for note, held in _with_tune(row_notes(piece, "between"), fingered):
        choice, problem = _place(note, held, piece)
        added.append(choice)
        if problem is not None:
            problems.setdefault((note.spot.place, problem.message), problem)
    return tuple(added), tuple(problems.values())


def _with_tune(
    added: Iterator[TuneNote], fingered: Sequence[Fingered]
) -> Iterator[tuple[TuneNote, Fingered | None]]:
    """Yield each added note with the last note of the tune that begins no later."""
    now = -1
    for note in added:
        while now + 1 < len(fingered) and fingered[now + 1].note.start_beat <= note.start_beat:
            now += 1
        yield note, fingered[now] if now >= 0 else None


def _place(note: TuneNote, held: Fingered | None, piece: Piece) -> tuple[Added, Problem | None]:
    """Choose the string of one added note over the hand that the tune holds."""
    shape = held.stroke.shape if held else OPEN_HAND
    busy: tuple[int, ...] = ()
    keep: tuple[int, ...] = ()
    if held is not None and note.start_beat < held.note.end_beat:
        keep = (held.stroke.string,) if held.reached else ()
        busy = held.stroke.struck if held.note.start_beat == note.start_beat else (held.stroke.string,)
    over = list(single_strokes(note.midi, shape, piece.hands, keep))
    free = [stroke for stroke in over if stroke.string not in busy]
    asked = [stroke for stroke in free if _keeps(stroke, note)]
    if asked:
        return Added(note, easiest(asked, shape)), None
    if free:
        return Added(note, easiest(free, shape)), added_problem(note, piece, taken=False)
    anyhow = list(single_strokes(note.midi, shape, piece.hands))
    if anyhow:
        kept = [stroke for stroke in anyhow if _keeps(stroke, note)]
        return Added(note, easiest(kept or anyhow, shape)), added_problem(note, piece, taken=True)
    stroke = unreachable(note.midi, shape, piece.tuning)
    return Added(note, stroke, reached=False), unplayable_problem(note, piece)


def _keeps(stroke: Stroke, note: TuneNote) -> bool:
    """Whether a stroke plays a note where the song asks for it."""
    if note.position is not None and (stroke.string, stroke.fret) != note.position:
        return False
    return note.pin is None or note.pin.strings in ((), (stroke.string,))


def easiest(strokes: Sequence[Stroke], shape: Shape) -> Stroke:
    """Return the stroke that is cheapest to get to from a held shape."""
    position = hand_position(shape, 1)
    return min(
        strokes,
        key=lambda stroke: (stroke.cost + change_cost(shape, stroke.shape, position), stroke.string),
    )
