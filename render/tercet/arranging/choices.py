"""Ways to play one note of the tune, as columns: which hand, which string, how many strings are struck.

**The reentrant law.** A roll starts on string 4 or 3 and stops on the string that holds the tune; the tune is heard
on top only if it is at or above the *sounding* pitch of every other struck string. On a high-g ukulele string 4 is
high, so below G4 a roll must start on string 3 for the tune to come out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from tercet.arranging.model import Audibility
from tercet.neck import Shape, holdable
from tercet.neck.demands import COSTS, Hands
from tercet.neck.priced_hands import STRING_BITS, PricedHands, hands_up_to, string_bits
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

_OCTAVE, _MASKED = HEARD.index("octave"), HEARD.index("masked")

_FROM_TO = (np.arange(4)[:, None, None] >= np.arange(4)[:, None]) & (
    np.arange(4)[:, None, None] <= np.arange(4)
)
"""Whether a column lies from one column to another: [column, first, last]."""

KEPT_IN_A_STRATUM = 12
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
    if (pin is None or not pin.strings) and (ways.struck > 1).any():
        ways = _one_stroke_a_hand(ways)
    return ways if exact else _pruned(ways, question, board)


def every_way(question: Question, board: PricedHands) -> Choices:
    """Return every way to play a note, in a fixed order, some that its pin doesn't ask for among them.

    String by string, from string 4 on: alone, then as rolls that begin ever nearer to the tune's string.
    """
    held = _hands_with(question, board)
    alone = _alone(question, board, held)
    if not _may_roll(question):
        return alone
    found = alone, _rolls(question, board, held)
    ways = Choices(
        *(np.concatenate([getattr(each, field.name) for each in found]) for field in fields(Choices))
    )
    return ways.taken(ways.column.argsort(kind="stable"))


@dataclass(frozen=True, slots=True)
class _Held:
    """Hands that hold a note over a chord.

    Parameters
    ----------
    hand, column
        intp (n,): row of the board's table, and the string on which it holds the note.
    tones
        uint8 (n,): the strings that sound the chord, as `STRING_BITS`.
    known
        bool (n,): it holds the shape that players know by the chord's name.
    cost
        float (n,): to hold it over the chord.
    alone
        float (n,): the same for a note struck alone, under which nobody hears which tones the other strings have.
    """

    hand: NDArray[np.intp]
    column: NDArray[np.intp]
    tones: NDArray[np.uint8]
    known: NDArray[np.bool_]
    cost: NDArray[np.float64]
    alone: NDArray[np.float64]


def _places_of(question: Question, board: PricedHands) -> NeckPlaces:
    """Return where the note may lie."""
    pin = question.pin
    columns = (4 - pin.strings[-1],) if pin is not None and pin.strings else range(4)
    places = ((column, question.midi - int(board.open_midis[column])) for column in columns)
    highest = min(question.highest_fret, board.highest_fret)
    return tuple(
        (column, fret)
        for column, fret in places
        if 0 <= fret <= highest and question.position in (None, (4 - column, fret))
    )


def _may_roll(question: Question) -> bool:
    """Whether a note may be rolled: where it is main; together with an added note only where the song asks for it."""
    if question.chord is None:
        return False
    asked = question.pin is not None and question.pin.action == "roll"
    return asked or (question.main and not question.beside)


def _hands_with(question: Question, board: PricedHands) -> _Held:
    """Return the hands that hold a note over the chord, for each string that it may lie on.

    Where an added note is struck together with it, they hold that too, on a string that needn't suit the chord.
    """
    places = _places_of(question, board)
    found = [board.rows_with(*place) for place in places]
    rows = np.concatenate([np.zeros(0, np.intp), *found])
    column = np.array([column for column, _ in places], np.intp).repeat([len(each) for each in found])
    if question.highest_fret < board.highest_fret:
        low = np.flatnonzero(board.table.position[rows] <= question.highest_fret)
        rows, column = rows[low], column[low]
    frets = board.frets_by_string
    free = STRING_BITS[column]
    for other, held_fret in question.before:
        free |= (frets[other, rows] == held_fret) * STRING_BITS[other]

    def suiting(
        unfit: NDArray[np.integer], among: NDArray[np.bool_]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return rows and columns of those hands whose unfit strings needn't suit."""
        wrong = unfit & ~free
        if question.beside:
            suits = np.zeros(len(rows), np.bool_)
            for other, held_fret in question.beside:
                there = (column != other) & (frets[other, rows] == held_fret)
                suits |= there & (wrong & ~STRING_BITS[other] == 0)
        else:
            suits = wrong == 0
        kept = np.flatnonzero(suits & among)
        return rows[kept], column[kept]

    if question.chord is None:
        rows, column = suiting(string_bits(frets[:, rows] != 0), board.asked[rows])
        none = np.zeros(len(rows), np.uint8)
        cost = board.holding_cost[rows]
        return _Held(rows, column, none, none > 0, cost, cost)
    if question.chord_frets is not None:
        asked = np.array([[wish or 0] for wish in question.chord_frets])
        left_out = np.array([[wish is None] for wish in question.chord_frets])
        among = board.as_taught[rows]
        if question.chord_fingers is not None:
            as_set = board.table.fingers[rows] == np.array(question.chord_fingers)
            among = (as_set.T | (frets[:, rows] != asked)).all(axis=0)
        rows, column = suiting(string_bits(frets[:, rows] != asked), among)
        as_written = string_bits((frets[:, rows] == asked) & ~left_out)
        cost = board.holding_cost[rows]
        return _Held(rows, column, as_written, np.zeros(len(rows), np.bool_), cost, cost)
    over = board.chord(question.chord)
    rows, column = suiting(over.unfit[rows], over.allowed[rows])
    cost = board.holding_cost[rows] + over.cost(rows)
    if question.strummed:
        cost += COSTS["strums without third or root"] * ~over.full(rows)
    alone = cost if question.strummed else board.holding_cost[rows] + over.unheard_cost(rows)
    return _Held(rows, column, over.tones(rows), over.known(rows), cost, alone)


def _holding(
    places: NeckPlaces, board: PricedHands, hand: NDArray[np.intp], struck: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return which hands hold one of some places off the strings that are struck, (4, n)."""
    held = np.zeros(len(hand), np.bool_)
    for column, fret in places:
        held |= ~struck[column] & (board.frets_by_string[column, hand] == fret)
    return held


def _alone(question: Question, board: PricedHands, held: _Held) -> Choices:
    """Return the single notes."""
    hand, column = held.hand, held.column
    fretted = question.midi > int(board.open_midis[0])
    missing = question.main and not question.beside
    return Choices(
        hand,
        column,
        np.ones(len(hand), np.int8),
        np.zeros(len(hand), np.int8),
        held.alone
        + COSTS["fretted string 4"] * ((column == 0) & fretted)
        + COSTS["wanted roll missing"] * missing
        + _let_go(question, board, hand, _FROM_TO[:, column, column])
        + _idle(question, board, hand, column, column) * ~held.known,
    )


def _rolls(question: Question, board: PricedHands, held: _Held) -> Choices:
    """Return the rolls: over struck strings that all sound the chord.

    The shape that players know by the chord's name is held as it is, fingers that idle among it; and under a long note
    its strums sound the tones that aren't struck.
    """
    strings = question.pin.strings if question.pin is not None else ()
    starts = range(3) if not strings else range(4 - strings[0], 5 - strings[0])
    found = []
    for first in starts:
        to_sound = STRING_BITS[held.column] - STRING_BITS[first]
        found.append(np.flatnonzero((to_sound > 0) & (to_sound & ~held.tones == 0)))
    kept, start = np.concatenate(found), np.array(starts, np.intp).repeat([len(each) for each in found])
    hand, last = held.hand[kept], held.column[kept]
    struck, under = _FROM_TO[:, start, last], _FROM_TO[:, start, last - 1]
    over = board.frets_by_string[:, hand] + (board.open_midis - question.midi)[:, None]
    by_string = np.where(over > 0, np.where(over % 12 == 0, _OCTAVE, _MASKED), over == 0) * under
    heard = by_string.max(axis=0, initial=0).astype(np.int8)
    by_ear = np.array([0.0, COSTS["unison"], COSTS["octave"], COSTS["masked"]])
    rolls = Choices(
        hand=hand,
        column=last,
        struck=(last - start + 1).astype(np.int8),
        heard=heard,
        cost=held.cost[kept]
        + by_ear[heard]
        + COSTS["a semitone under the tune"] * (under & (over == -1)).any(axis=0)
        + COSTS["start on string 3"] * start
        + COSTS["only one string under the tune"] * (last - start == 1)
        + COSTS["roll right after a note"] * question.hasty
        + _let_go(question, board, hand, struck)
        + _idle(question, board, hand, start, last) * ~held.known[kept]
        + _unstruck(question, board, hand, start, struck, under) * ~(held.known[kept] & question.strummed),
    )
    if question.beside:
        return rolls.taken(np.flatnonzero(_holding(question.beside, board, hand, struck)))
    return rolls


def _let_go(
    question: Question, board: PricedHands, hand: NDArray[np.intp], struck: NDArray[np.bool_]
) -> NDArray[np.float64] | float:
    """Return what it costs that an added note can't ring on while some strings are struck."""
    if not question.ringing:
        return 0.0
    return np.where(_holding(question.ringing, board, hand, struck), 0.0, COSTS["added note let go"])


def _idle(
    question: Question,
    board: PricedHands,
    hand: NDArray[np.intp],
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> NDArray[np.float64] | float:
    """Return what fingers cost that press strings which aren't struck, from one column to another, nor strummed."""
    if question.strummed or question.chord_frets is not None:
        return 0.0
    pressed = board.pressed_before
    idle = pressed[first, hand] + pressed[4, hand] - pressed[last + 1, hand]
    cost: NDArray[np.float64] = COSTS["idle finger"] * idle
    return cost


def _unstruck(
    question: Question,
    board: PricedHands,
    hand: NDArray[np.intp],
    start: NDArray[np.intp],
    struck: NDArray[np.bool_],
    under: NDArray[np.bool_],
) -> NDArray[np.float64] | float:
    """Return what it costs that rolls don't strike the chord's most telling tones, or strike one tone of it alone."""
    if question.chord is None or question.chord_frets is not None:
        return 0.0
    classes = board.classes[:, hand]
    cost = np.zeros(len(hand))
    telling = question.chord.needed_classes[: 1 + (len(question.chord.pitch_classes) > 3)]
    for needed, name in zip(telling, _NOT_STRUCK, strict=False):
        cost += COSTS[name] * ~(struck & (classes == needed % 12)).any(axis=0)
    top = question.midi % 12
    lonely = top if top in question.chord.pitch_classes else classes[start, np.arange(len(hand))]
    cost += COSTS["one tone of the chord alone"] * ((classes == lonely) | ~under).all(axis=0)
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
    if len(choices) <= KEPT_IN_A_STRATUM:
        return choices
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
