"""Ways to play one note of the tune, as columns: which hand, which string, how many strings are struck.

**The reentrant law.** A roll starts on string 4 or 3 and stops on the string that holds the tune; the tune is heard
on top only if it is at or above the *sounding* pitch of every other struck string. On a high-g ukulele string 4 is
high, so below G4 a roll must start on string 3 for the tune to come out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from tercet.arranging.model import Audibility
from tercet.neck import Shape, holdable
from tercet.neck.demands import COSTS, Hands
from tercet.neck.priced_hands import STRING_BITS, OverChord, PricedHands, hands_up_to
from tercet.song import Pin
from tercet.theory import LAST_FRET, Chord

__all__ = [
    "HEARD",
    "Choices",
    "NeckPlaces",
    "Question",
    "Stroke",
    "choices_for",
    "every_way",
    "single_strokes",
    "with_fret",
]

NeckPlaces = tuple[tuple[int, int], ...]
"""Places on the neck: (column, fret), column 0 for string 4 to 3 for string 1."""

_NOT_STRUCK = ("most telling tone not struck", "seventh not struck")

HEARD: tuple[Audibility, ...] = ("top", "unison", "octave", "masked")

KEPT_IN_A_STRATUM = 8
"""Choices kept of each kind (string, rolled or not, position, highest fret). A higher fret limit only adds kinds, so
it never takes a choice away; and no position is lost, so that a hand may stay where it is."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of one note of the tune; equal questions have equal choices.

    Parameters
    ----------
    midi
        MIDI key number.
    chord, chord_frets, chord_fingers
        The chord that it is rolled over, the shape that the song asks for (string 4 first), and the fingers on it.
        Where the note lies on another fret of its string, any finger may be there.
    main
        Whether it wants a roll.
    position, pin
        What the song asks for.
    highest_fret
        The highest fret that the tune may use here.
    hasty
        Whether the note before is so near that the thumb must hurry back for a roll.
    strummed
        Whether the note is held so long that its hand is strummed too.
    beside, ringing
        Where a note that the song adds may lie, as (column, fret): one that is struck together with it, and one that
        still rings when it is struck. Empty where there is none.
    before
        Where the note of the tune before may lie, as (column, fret), if that is to ring on over it.
    """

    midi: int
    chord: Chord | None
    chord_frets: tuple[int | None, ...] | None
    main: bool
    position: tuple[int, int] | None
    pin: Pin | None
    highest_fret: int
    hasty: bool = False
    strummed: bool = False
    beside: NeckPlaces = ()
    ringing: NeckPlaces = ()
    chord_fingers: tuple[int, ...] | None = None
    before: NeckPlaces = ()


@dataclass(frozen=True, slots=True)
class Choices:
    """Ways to play one note; row i of every array is one way.

    Parameters
    ----------
    hand
        intp (n,): row of the board's table.
    column
        intp (n,): the tune's string, 0 for string 4 to 3 for string 1.
    struck
        int8 (n,): how many strings are struck, 1 to 4; the tune's is the last.
    heard
        int8 (n,): index into `HEARD`.
    cost
        float64 (n,): by itself, before any change of hand.
    """

    hand: NDArray[np.intp]
    column: NDArray[np.intp]
    struck: NDArray[np.int8]
    heard: NDArray[np.int8]
    cost: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.hand)

    def taken(self, rows: NDArray[np.intp]) -> Choices:
        """Return some of the choices."""
        return Choices(
            self.hand[rows], self.column[rows], self.struck[rows], self.heard[rows], self.cost[rows]
        )


def choices_for(
    question: Question, board: PricedHands, *, exact: bool = False, ways: Choices | None = None
) -> Choices:
    """Return the ways to play a note that are weighed, in a fixed order; none where no hand plays it as asked.

    Parameters
    ----------
    question, board
        What is asked, and the hands that may play it.
    exact
        Keep all hands; without it the cheapest `KEPT_IN_A_STRATUM` of each kind.
    ways
        From `every_way`, if they are known: those of the same question, or of one with a wider pin or none.
    """
    if ways is None:
        ways = every_way(question, board)
    pin = question.pin
    if pin is not None:
        ways = ways.taken(np.flatnonzero(_as_pinned(ways, pin)))
    if pin is None or not pin.strings:
        ways = _one_stroke_a_hand(ways)
    return ways if exact else _pruned(ways, question, board)


def every_way(question: Question, board: PricedHands) -> Choices:
    """Return every way to play a note, in a fixed order, some that its pin doesn't ask for among them."""
    found = [piece for column in _columns(question) for piece in _on_string(question, board, column) if piece]
    if not found:
        empty = np.zeros(0, dtype=np.intp)
        return Choices(empty, empty, empty.astype(np.int8), empty.astype(np.int8), empty.astype(np.float64))
    return Choices(
        *(np.concatenate([getattr(piece, field.name) for piece in found]) for field in fields(Choices))
    )


def _columns(question: Question) -> Sequence[int]:
    """Return the strings that the tune may lie on, as columns."""
    pin = question.pin
    return (4 - pin.strings[-1],) if pin is not None and pin.strings else range(4)


def _starts(question: Question, column: int) -> Sequence[int]:
    """Return where rolls may begin that end on a string, as columns."""
    if not _may_roll(question):
        return range(0)
    if question.pin is None or not question.pin.strings:
        return range(column)
    first = column + 1 - len(question.pin.strings)
    return range(first, min(first + 1, column))


def _on_string(question: Question, board: PricedHands, column: int) -> list[Choices]:
    """Return the ways to play a note on one string: alone, and as rolls over more and more strings."""
    fret = question.midi - int(board.open_midis[column])
    if not 0 <= fret <= min(question.highest_fret, board.highest_fret):
        return []
    if question.position is not None and question.position != (4 - column, fret):
        return []
    rows, tone, cost = _hands_with(question, board, column, fret)
    fretted_four = COSTS["fretted string 4"] * (column == 0 and fret > 0)
    missing = COSTS["wanted roll missing"] * (question.main and not question.beside)
    number = np.full(len(rows), column, dtype=np.intp)
    alone = Choices(
        rows,
        number,
        np.ones(len(rows), np.int8),
        np.zeros(len(rows), np.int8),
        cost
        + fretted_four
        + missing
        + _let_go(question, board, rows, column, column)
        + _idle(question, board, rows, column, column),
    )
    return [
        alone,
        *(_rolls(question, board, alone, tone, cost, start) for start in _starts(question, column)),
    ]


def _may_roll(question: Question) -> bool:
    """Whether a note may be rolled: where it is main; together with an added note only where the song asks for it."""
    if question.chord is None:
        return False
    asked = question.pin is not None and question.pin.action == "roll"
    return asked or (question.main and not question.beside)


def _holding(places: NeckPlaces, frets: NDArray[np.int8], first: int, last: int) -> NDArray[np.bool_]:
    """Return which shapes hold one of some places off the columns from one to another, bool (n,)."""
    held = np.zeros(len(frets), np.bool_)
    for column, fret in places:
        if not first <= column <= last:
            held |= frets[:, column] == fret
    return held


def _let_go(
    question: Question, board: PricedHands, rows: NDArray[np.intp], first: int, last: int
) -> NDArray[np.float64] | float:
    """Return what it costs that an added note can't ring on while the columns from one to another are struck."""
    if not question.ringing:
        return 0.0
    kept = _holding(question.ringing, board.table.frets[rows], first, last)
    return np.where(kept, 0.0, COSTS["added note let go"])


def _hands_with(
    question: Question, board: PricedHands, column: int, fret: int
) -> tuple[NDArray[np.intp], NDArray[np.bool_], NDArray[np.float64]]:
    """Return the hands that hold a note on a string over the chord: rows, tones (n, 4), cost (n,).

    Where an added note is struck together with it, they hold that too, on a string that needn't suit the chord.
    """
    rows = board.rows_with(column, fret)
    if question.highest_fret < board.highest_fret:
        rows = rows[board.table.position[rows] <= question.highest_fret]
    if question.beside:
        rows = rows[_holding(question.beside, board.table.frets[rows], column, column)]
    frets = board.table.frets[rows]
    free: NDArray[np.intp] | int = STRING_BITS[column]
    for other, held_fret in question.before:
        free = free | (frets[:, other] == held_fret) * STRING_BITS[other]

    def everywhere(unfit: NDArray[np.intp]) -> NDArray[np.bool_]:
        wrong = unfit & ~free
        suits: NDArray[np.bool_] = wrong == 0
        if question.beside:
            suits = np.zeros(len(rows), np.bool_)
            for other, held_fret in question.beside:
                if other != column:
                    suits |= (frets[:, other] == held_fret) & (wrong & ~STRING_BITS[other] == 0)
        return suits

    if question.chord is None:
        rows = rows[board.asked[rows] & everywhere((frets != 0) @ STRING_BITS)]
        return rows, np.zeros((len(rows), 4), np.bool_), board.holding_cost[rows]
    over: OverChord = board.chord(question.chord)
    if question.chord_frets is not None:
        asked = np.array([wish or 0 for wish in question.chord_frets])
        rows = rows[everywhere((frets != asked) @ STRING_BITS)]
        if question.chord_fingers is None:
            rows = rows[board.as_taught[rows]]
        else:
            elsewhere = board.table.frets[rows] != asked
            as_set = board.table.fingers[rows] == np.array(question.chord_fingers)
            rows = rows[(elsewhere | as_set).all(axis=1)]
        left_out = np.array([wish is None for wish in question.chord_frets])
        as_written = (board.table.frets[rows] == asked) & ~left_out
        return rows, as_written, board.holding_cost[rows]
    rows = rows[everywhere(over.unfit[rows]) & over.allowed[rows]]
    cost = over.cost[rows]
    if question.strummed:
        cost += COSTS["strums without third or root"] * ~over.full[rows]
    return rows, over.tone[rows], cost


def _rolls(
    question: Question,
    board: PricedHands,
    alone: Choices,
    tone: NDArray[np.bool_],
    cost: NDArray[np.float64],
    start: int,
) -> Choices:
    """Return the rolls from a string on: over struck strings that all sound the chord."""
    column = int(alone.column[0]) if len(alone) else start + 1
    struck_well = tone[:, start:column].all(axis=1)
    if question.beside:
        struck_well &= _holding(question.beside, board.table.frets[alone.hand], start, column)
    kept = np.flatnonzero(struck_well)
    over = board.midis[alone.hand[kept], start:column] - question.midi
    above = over > 0
    heard = np.zeros(len(kept), np.int8)
    heard[(over == 0).any(axis=1)] = HEARD.index("unison")
    heard[above.any(axis=1)] = HEARD.index("octave")
    heard[(above & (over % 12 != 0)).any(axis=1)] = HEARD.index("masked")
    by_ear = np.array([0.0, COSTS["unison"], COSTS["octave"], COSTS["masked"]])
    return Choices(
        hand=alone.hand[kept],
        column=alone.column[kept],
        struck=np.full(len(kept), column - start + 1, np.int8),
        heard=heard,
        cost=cost[kept]
        + by_ear[heard]
        + COSTS["a semitone under the tune"] * (over == -1).any(axis=1)
        + COSTS["start on string 3"] * start
        + COSTS["only one string under the tune"] * (column - start == 1)
        + COSTS["roll right after a note"] * question.hasty
        + _let_go(question, board, alone.hand[kept], start, column)
        + _idle(question, board, alone.hand[kept], start, column)
        + _unstruck(question, board, alone.hand[kept], start, column),
    )


def _idle(
    question: Question, board: PricedHands, rows: NDArray[np.intp], first: int, last: int
) -> NDArray[np.float64] | float:
    """Return what fingers cost that press strings which aren't struck, from one column to another, nor strummed.

    The shape that players know by the chord's name is held as it is.
    """
    if question.strummed or question.chord_frets is not None:
        return 0.0
    pressed = board.pressed_before
    idle = pressed[first, rows] + pressed[4, rows] - pressed[last + 1, rows]
    cost: NDArray[np.float64] = COSTS["idle finger"] * idle
    if question.chord is not None:
        cost[board.chord(question.chord).known[rows]] = 0.0
    return cost


def _unstruck(
    question: Question, board: PricedHands, rows: NDArray[np.intp], first: int, last: int
) -> NDArray[np.float64] | float:
    """Return what it costs that a roll doesn't strike the chord's most telling tones, or strikes one tone of it alone.

    Under a long note the shape that players know by the chord's name costs nothing: its strums sound those tones.
    """
    if question.chord is None or question.chord_frets is not None:
        return 0.0
    classes = board.classes[first : last + 1, rows]
    cost = np.zeros(len(rows))
    telling = question.chord.needed_classes[: 1 + (len(question.chord.pitch_classes) > 3)]
    for needed, name in zip(telling, _NOT_STRUCK, strict=False):
        cost += COSTS[name] * ~(classes == needed % 12).any(axis=0)
    under, top = classes[:-1], question.midi % 12
    lonely = top if top in question.chord.pitch_classes else under[0]
    cost += COSTS["one tone of the chord alone"] * (under == lonely).all(axis=0)
    if question.strummed:
        cost[board.chord(question.chord).known[rows]] = 0.0
    return cost


def _as_pinned(choices: Choices, pin: Pin) -> NDArray[np.bool_]:
    """Return which choices play a note as a pin asks."""
    kept: NDArray[np.bool_] = (choices.struck > 1) == (pin.action == "roll")
    if pin.strings:
        kept = (choices.column == 4 - pin.strings[-1]) & (choices.struck == len(pin.strings))
    return kept


def _one_stroke_a_hand(choices: Choices) -> Choices:
    """Keep the cheapest stroke of each hand on each string, the first of equals: changes cost all of them the same."""
    cell = choices.hand * 4 + choices.column
    order = np.lexsort((choices.cost, cell))
    first = np.ones(len(order), np.bool_)
    first[1:] = cell[order][1:] != cell[order][:-1]
    return choices.taken(np.sort(order[first]))


def _pruned(choices: Choices, question: Question, board: PricedHands) -> Choices:
    """Keep the cheapest choices of each kind, in the order that they had."""
    kind = (choices.column * 2 + (choices.struck > 1)) * 256 + board.place_on_neck[choices.hand]
    for column, fret in question.before:
        kind = kind * 2 + ((choices.column != column) & (board.table.frets[choices.hand, column] == fret))
    order = np.lexsort((choices.cost, kind))
    sorted_kind = kind[order]
    place = np.arange(len(order))
    first = np.ones(len(order), np.bool_)
    first[1:] = sorted_kind[1:] != sorted_kind[:-1]
    rank = place - np.maximum.accumulate(np.where(first, place, 0))
    return choices.taken(np.sort(order[rank < KEPT_IN_A_STRATUM]))


# ---- single notes, with a finger put over the shape that the hand holds


@dataclass(frozen=True, slots=True)
class Stroke:
    """One way to play one note of the tune.

    Parameters
    ----------
    string, fret
        Where the tune's note is held.
    struck
        Strings in the order struck, the tune's string last; one string for a single note.
    shape
        What the hand holds, string 4 first.
    heard
        How the tune stands against the other struck strings.
    cost
        Cost of the stroke by itself.
    """

    string: int
    fret: int
    struck: tuple[int, ...]
    shape: Shape
    heard: Audibility
    cost: float

    @property
    def rolled(self) -> bool:
        """Whether more than one string is struck."""
        return len(self.struck) > 1


def single_strokes(tune_midi: int, held: Shape, hands: Hands, keep: tuple[int, ...] = ()) -> Iterator[Stroke]:
    """Yield every single note on which a note can be played, a finger put over the held shape.

    Where the hand can't hold both, it lets go of the shape, but for the strings in `keep`; a note that can't be
    held together with those is left out. Frets beyond the players' reach are offered, at a price.
    """
    for string in (4, 3, 2, 1):
        fret = tune_midi - hands.tuning.open_midi(string)
        if string in keep or not 0 <= fret <= LAST_FRET:
            continue
        over = with_fret(held, string, fret)
        if not (
            holdable(over, hands.scale_length_mm)
            and (over == held or hands_up_to(hands, *over).may_hold(over))
        ):
            let_go = tuple(old if 4 - place in keep else 0 for place, old in enumerate(held))
            over = with_fret((let_go[0], let_go[1], let_go[2], let_go[3]), string, fret)
            if not holdable(over, hands.scale_length_mm):
                continue
        beyond = max(fret - hands.limits.highest_fret, 0)
        cost = COSTS["fret out of these players' reach"] * beyond
        cost += COSTS["fretted string 4"] * (string == 4 and fret > 0 and over != held)
        yield Stroke(string, fret, (string,), over, "top", cost)


def with_fret(shape: Shape, string: int, fret: int) -> Shape:
    """Return a shape with another fret on one string."""
    frets = list(shape)
    frets[4 - string] = fret
    return (frets[0], frets[1], frets[2], frets[3])
