"""The arranger's weights fitted to songs that are fingered by hand; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/learn_weights.py``. Each song of `expert_tabs/` is arranged as if it had no pins,
and what comes out is held against them: string and fret of every note of the tune, the strings struck, the shape
under each roll. Then the weights of `tercet.neck.demands.COSTS` are fitted to all songs but one, and that one is
arranged by them (leave one out).

**The fit** is inverse optimisation over the solver's own graph, by a largest margin. What a way through a song costs
is a sum of weights times counts. Where the arranger's way leaves the hand's and comes back to it, the two stretches
are compared: the hand's should be cheaper by a `MARGIN`. The weights that make it so, moved as little as may be, are
found; the songs are arranged by them, which brings other stretches to compare, and so on. Weights move as parts of
what they are today and keep their sign, and what is written costs as much in all as before. Those of `LAWS` stay: a
stretch where the hand breaks one that the arranger keeps teaches nothing.

**The counts** need no list of terms beside the solver's own. Under a table of weights 1, 16, 256, … a price is a
number whose digits are the counts.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from measuring import ROOT, Aims, asked, counted, parser_of
from numpy.typing import NDArray

from tercet.arranging.arranger import song_tuning
from tercet.arranging.choices import Choices, Question, choices_for
from tercet.arranging.fingering import Fingered, finger_tune
from tercet.arranging.path import Changes, hurry
from tercet.arranging.piece import Piece, piece_of
from tercet.arranging.tune import row_notes
from tercet.neck.demands import COSTS, Hands
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import PricedHands, priced_hands
from tercet.song import Pin, Song, drop_pins, read_song

TABS = ROOT / "benchmarks" / "expert_tabs"

STRIKING = (
    "finger",
    "barre over two strings",
    "barre over more",
    "little finger",
    "unusual fingers",
    "fret of a stretch",
    "fret of a squeeze",
    "fret above first position",
    "fret above third position",
    "most telling tone missing",
    "second tone missing",
    "third tone missing",
    "idle string off the chord",
    "known shape",
    "fretted string 4",
    "idle finger",
    "only one string under the tune",
    "start on string 3",
    "unison",
    "octave",
    "roll right after a note",
)
"""Weights that are fitted and count for a stroke by itself."""

CHANGING = (
    "placing a finger",
    "kept finger",
    "guide finger",
    "finger carried across",
    "string crossed",
)
"""Those that count for a change from one hand to the next."""

FITTED = (*STRIKING, *CHANGING)
STRIKING_LAWS = (
    "a semitone under the tune",
    "masked",
    "wanted roll missing",
    "strums without third or root",
    "fret out of these players' reach",
    "added note let go",
    "most telling tone not struck",
    "seventh not struck",
    "one tone of the chord alone",
)
CHANGING_LAWS = ("position change", "fret of a position change")
HURRY_LAW = "three fingers in a hurry"
LAWS = (*STRIKING_LAWS, *CHANGING_LAWS, HURRY_LAW)
"""Weights that stand for what a class can't do, must hear or is spared: they stay as they are. Thirds and sevenths are
among them, which `played_well.py` counts, and moves along the neck, which `corpus.py` counts; songs fingered for easy
hands near the nut would teach to leave them out."""

STROKE_BASE, STROKE_DIGITS = 16, 12
CHANGE_BASE = 32
"""Bases in which prices are read, above any count. Changes count by halves, and all of them together stay below the
mark that `PricedHands.changes` sets for fingers that move."""

MARGIN = 0.2
"""By so much the hand's stretch should be cheaper: about the weight of a finger."""

PULL = 0.1
"""The pull towards today's table: what moving a weight by all of itself costs, in cost a note."""

ROUNDS, STEPS = 6, 400
"""Times that the songs are arranged for a fit, and steps to find the weights for what they brought."""

LEAST_PART, MOST_PART = 0.5, 2.0
"""A weight stays between these parts of what it is today."""

LEAST_AGREEMENT = 84.0
"""Of notes and rolls by today's table, in per cent."""

SHORT_TABS = ("tin-mugs", "row-of-jars", "first-puddle")


@contextmanager
def priced_by(table: Mapping[str, float]) -> Iterator[None]:
    """Let all hands cost what a table says, for as long as this lasts."""
    before = dict(COSTS)
    COSTS.update(table)
    priced_hands.cache_clear()
    try:
        yield
    finally:
        COSTS.update(before)
        priced_hands.cache_clear()


# ---- songs fingered by hand


@dataclass(frozen=True)
class Tab:
    """A song fingered by hand.

    Parameters
    ----------
    name
        Of its file.
    pinned
        The song with its pins.
    """

    name: str
    pinned: Song

    @cached_property
    def plain(self) -> Piece:
        """The song as the solver gets it: without a pin."""
        return piece_of(drop_pins(self.pinned)[0], song_tuning(self.pinned))

    @cached_property
    def by_hand(self) -> tuple[Fingered, ...]:
        """What its pins say; what they leave open is found at today's prices."""
        return solved(piece_of(self.pinned, song_tuning(self.pinned)))

    @cached_property
    def written(self) -> tuple[int, ...]:
        """Which notes are the first playing of what is written: each is counted once."""
        first: dict[object, int] = {}
        for index, item in enumerate(self.by_hand):
            first.setdefault(item.note.source, index)
        return tuple(first.values())


def solved(piece: Piece) -> tuple[Fingered, ...]:
    """Return the tune as the arranger fingers it."""
    return finger_tune(row_notes(piece), piece, row_notes(piece, "between"))[0]


def tabs_of(folder: Path) -> list[Tab]:
    """Return the songs of a folder, by name."""
    return [Tab(path.stem, read_song(path)) for path in sorted(folder.glob("*.yaml"))]


# ---- agreement


@dataclass
class Agreement:
    """How much of what a hand wrote the arranger does too: numbers of notes, and of rolls."""

    notes: int = 0
    string: int = 0
    rolled: int = 0
    struck: int = 0
    rolls: int = 0
    shape: int = 0

    def add(self, other: Agreement) -> None:
        """Count another song's notes too."""
        for name in ("notes", "string", "rolled", "struck", "rolls", "shape"):
            setattr(self, name, getattr(self, name) + getattr(other, name))

    @property
    def score(self) -> float:
        """Notes struck as by hand and rolls over the same shape, as a part of all."""
        return (self.struck + self.shape) / max(self.notes + self.rolls, 1)

    def __str__(self) -> str:
        parts = [
            f"{100 * same / max(among, 1):5.1f}"
            for same, among in (
                (self.string, self.notes),
                (self.rolled, self.notes),
                (self.struck, self.notes),
                (self.shape, self.rolls),
            )
        ]
        return " | ".join(parts)


def agreement(tab: Tab, found: Sequence[Fingered]) -> Agreement:
    """Hold a song as the arranger fingers it against what was written by hand."""
    sums = Agreement()
    for index in tab.written:
        ours, theirs = found[index].stroke, tab.by_hand[index].stroke
        sums.notes += 1
        sums.string += (ours.string, ours.fret) == (theirs.string, theirs.fret)
        sums.rolled += ours.rolled == theirs.rolled
        sums.struck += ours.struck == theirs.struck
        if theirs.rolled:
            sums.rolls += 1
            sums.shape += not _looks_otherwise(found[index], tab.by_hand[index])
    return sums


# ---- counts, read from prices


@dataclass(frozen=True, slots=True)
class Counted:
    """How often each weight counts in a stretch: those that are `FITTED`, in that order, and `LAWS`."""

    fitted: NDArray[np.float64]
    laws: NDArray[np.float64]

    def __add__(self, other: Counted) -> Counted:
        return Counted(self.fitted + other.fitted, self.laws + other.laws)

    def __sub__(self, other: Counted) -> Counted:
        return Counted(self.fitted - other.fitted, self.laws - other.laws)

    def cost(self, table: Mapping[str, float]) -> float:
        """Return what it costs by a table."""
        return float(
            self.fitted @ [table[name] for name in FITTED] + self.laws @ [table[name] for name in LAWS]
        )


NOTHING = Counted(np.zeros(len(FITTED)), np.zeros(len(LAWS)))


@dataclass
class Counts:
    """Reads counts from prices, each stroke and each change once."""

    _boards: dict[object, PricedHands] = field(default_factory=dict)
    _known: dict[object, Counted | None] = field(default_factory=dict)

    def stroke(self, question: Question, item: Fingered, hands: Hands) -> Counted | None:
        """Return the counts of a stroke; None where the question doesn't allow it."""
        struck = item.stroke.struck
        if item.hand is None or (len(struck) > 1 and not question.main):
            return None
        key = question, item.hand, struck, hands
        if key not in self._known:
            pinned = replace(question, pin=Pin("roll" if len(struck) > 1 else "alone", struck))
            names = (*STRIKING, *STRIKING_LAWS)
            digits: list[float] = []
            for first in range(0, len(names), STROKE_DIGITS):
                digits += self._spelt(pinned, item.hand, hands, names[first : first + STROKE_DIGITS])
            laws = [*digits[len(STRIKING) :], *(0.0 for _ in CHANGING_LAWS), 0.0]
            counts = Counted(np.array([*digits[: len(STRIKING)], *(0.0 for _ in CHANGING)]), np.array(laws))
            self._known[key] = counts if digits else None
        return self._known[key]

    def _spelt(self, question: Question, hand: Hand, hands: Hands, names: tuple[str, ...]) -> list[float]:
        """Return the digits of a stroke's price by a table that spells some weights; none where it isn't allowed."""
        with _spelling(
            dict(zip(names, (float(STROKE_BASE**place) for place in range(len(names))), strict=True))
        ):
            board = self._board(hands, question.highest_fret, hand, names)
            choices = choices_for(question, board, exact=True)
            rows = np.flatnonzero(choices.hand == board.row_of(hand))
        if not len(rows):
            return []
        price = round(float(choices.cost[rows[0]]))
        return [float(price // STROKE_BASE**place % STROKE_BASE) for place in range(len(names))]

    def change(self, before: Fingered, after: Fingered, hands: Hands) -> Counted:
        """Return the counts of a change of hand, as they weigh in the time that there is for it."""
        if before.hand is None or after.hand is None:
            return NOTHING
        key = before.hand, before.stroke.string, after.hand, after.stroke.string, after.gap_s, hands
        if key not in self._known:
            names = (*CHANGING, *CHANGING_LAWS)
            with _spelling({name: float(CHANGE_BASE) ** -place for place, name in enumerate(names)}):
                board = self._board(hands, hands.limits.highest_fret, before.hand, names, after.hand)
                one, other = (_only(item, board) for item in (before, after))
                price = float(Changes(board).between(one, other, _AT_EASE_S)[0, 0]) / hurry(_AT_EASE_S)
                many = bool(board.changes(one.hand, other.hand)[1][0, 0])
            halves = round(2 * price * CHANGE_BASE ** (len(names) - 1))
            digits = [halves // CHANGE_BASE**place % CHANGE_BASE / 2 for place in reversed(range(len(names)))]
            weighed = [hurry(after.gap_s) * digit for digit in digits]
            hasty = float(many and after.gap_s < hands.limits.three_fingers_s)
            self._known[key] = Counted(
                np.array([*(0.0 for _ in STRIKING), *weighed[: len(CHANGING)]]),
                np.array([*(0.0 for _ in STRIKING_LAWS), *weighed[len(CHANGING) :], hasty]),
            )
        return self._known[key] or NOTHING

    def _board(
        self, hands: Hands, highest_fret: int, hand: Hand, names: tuple[str, ...], other: Hand | None = None
    ) -> PricedHands:
        """Return the hands to be priced by a table that spells some weights, as far up the neck as two of them go."""
        frets = [fret for each in (hand, other or hand) for fret in (*each.frets, each.position)]
        key = hands, max(highest_fret, *frets), names
        if key not in self._boards:
            self._boards[key] = PricedHands(hands, key[1])
        return self._boards[key]


_AT_EASE_S = 60.0
"""Time for any change: no law speaks."""


def _spelling(spelt: Mapping[str, float]) -> AbstractContextManager[None]:
    """Let some weights be what they are told and all others nothing."""
    return priced_by({**dict.fromkeys(COSTS, 0.0), **spelt})


def _only(item: Fingered, board: PricedHands) -> Choices:
    """Return a note as its only choice."""
    row = board.row_of(item.hand) if item.hand is not None else 0
    one = np.ones(1, np.int8)
    return Choices(np.array([row]), np.array([4 - item.stroke.string]), one, one, np.zeros(1))


# ---- stretches to compare


@dataclass(frozen=True, slots=True)
class Comparison:
    """A stretch of the tune that the arranger plays otherwise than the hand.

    Parameters
    ----------
    notes
        How many of its notes a listener or a reader would find otherwise.
    dearer
        By how much more often each weight counts in the hand's way.
    """

    notes: int
    dearer: Counted

    @property
    def key(self) -> tuple[bytes, bytes]:
        """What equal stretches have in common."""
        return self.dearer.fitted.tobytes(), self.dearer.laws.tobytes()


def compared(tab: Tab, found: Sequence[Fingered], counts: Counts) -> Iterator[Comparison]:
    """Yield the stretches where a song's way leaves the hand's, as far as the hand keeps to what is asked of it."""
    written, by_hand = set(tab.written), tab.by_hand
    hands = tab.plain.hands
    inside: list[int] = []
    for index in (*sorted(written), len(found)):
        unlike = index < len(found) and _as_played(found[index]) != _as_played(by_hand[index])
        if inside and not (unlike and inside[-1] + 1 == index):
            notes = sum(_looks_otherwise(found[each], by_hand[each]) for each in inside)
            ways = [_counted(way, inside, found, hands, counts) for way in (by_hand, found)]
            if notes and ways[0] is not None and ways[1] is not None:
                yield Comparison(notes, ways[0] - ways[1])
            inside = []
        if unlike:
            inside.append(index)


def _as_played(item: Fingered) -> object:
    return item.hand, item.stroke.struck


def _looks_otherwise(ours: Fingered, theirs: Fingered) -> bool:
    """Whether other strings are struck, or the same ones of a roll over another shape."""
    return ours.stroke.struck != theirs.stroke.struck or not _same_shape(ours, theirs)


def _same_shape(ours: Fingered, theirs: Fingered) -> bool:
    held = [4 - string for string in theirs.stroke.struck]
    return all(ours.stroke.shape[column] == theirs.stroke.shape[column] for column in held)


def _counted(
    way: Sequence[Fingered], inside: Sequence[int], found: Sequence[Fingered], hands: Hands, counts: Counts
) -> Counted | None:
    """Return the counts of a stretch with the changes into it and out of it; None where a stroke isn't allowed."""
    total = NOTHING
    for index in inside:
        question = found[index].asked
        stroke = None if question is None else counts.stroke(question, way[index], hands)
        if stroke is None:
            return None
        total += stroke
    for index in range(inside[0], inside[-1] + 2):
        if 0 < index < len(way):
            total += counts.change(way[index - 1], way[index], hands)
    return total


# ---- the fit


class Teacher:
    """What fits weights to songs, and arranges songs by them.

    Parameters
    ----------
    start
        The table that fits start from and are pulled towards.
    """

    def __init__(self, start: Mapping[str, float] = COSTS) -> None:
        self.start = dict(start)
        self._counts = Counts()

    def found(self, tab: Tab, table: Mapping[str, float]) -> tuple[Fingered, ...]:
        """Return a song without its pins, as the arranger fingers it by a table."""
        with priced_by(table):
            return solved(tab.plain)

    def agreement(self, tab: Tab, table: Mapping[str, float]) -> Agreement:
        """Return how far a table's hands agree with those that are written."""
        return agreement(tab, self.found(tab, table))

    def fitted(self, tabs: Sequence[Tab], *, rounds: int = ROUNDS) -> dict[str, float]:
        """Return a table that makes what is written cheap: of all rounds the one by which most is played so.

        That may be the one from which it starts.
        """
        brought: dict[object, Comparison] = {}
        in_all = self._in_all(tabs)
        table = best = self.start
        most = -1.0
        for _ in range(rounds + 1):
            sums, known = Agreement(), len(brought)
            for tab in tabs:
                found = self.found(tab, table)
                sums.add(agreement(tab, found))
                brought |= {(tab.name, *each.key): each for each in self._lawful(tab, found)}
            if sums.score > most:
                best, most = table, sums.score
            if len(brought) == known:
                break
            table = self._table(list(brought.values()), in_all)
        return best

    def _in_all(self, tabs: Sequence[Tab]) -> NDArray[np.float64]:
        """Return how often each fitted weight counts in all that is written."""
        total = NOTHING
        for tab in tabs:
            found = self.found(tab, self.start)
            for index in tab.written:
                total += _counted(tab.by_hand, [index], found, tab.plain.hands, self._counts) or NOTHING
        return total.fitted

    def _lawful(self, tab: Tab, found: Sequence[Fingered]) -> Iterator[Comparison]:
        """Yield the stretches to compare in which the hand breaks no law that the arranger keeps."""
        laws = [self.start[name] for name in LAWS]
        return (each for each in compared(tab, found, self._counts) if each.dearer.laws @ laws <= 0)

    def _table(self, brought: Sequence[Comparison], in_all: NDArray[np.float64]) -> dict[str, float]:
        """Return the table near the first by which the hand's stretches are cheaper than the others.

        What is written costs as much in all as before: if hands became cheaper, laws would become dearer beside them.
        """
        weights = np.array([self.start[name] for name in FITTED])
        notes = np.array([each.notes for each in brought], np.float64)
        dearer = np.array([each.dearer.fitted for each in brought]) * weights
        fixed = np.array([each.dearer.laws @ [self.start[name] for name in LAWS] for each in brought])
        scale = in_all * weights / np.linalg.norm(in_all * weights)
        parts, mean = np.ones(len(FITTED)), np.zeros(len(FITTED))
        for step in range(1, STEPS + 1):
            wrong = dearer @ parts + fixed + MARGIN > 0
            slope = (notes * wrong) @ dearer / notes.sum() + PULL * (parts - 1)
            parts = np.clip(parts - slope / (PULL * step), LEAST_PART, MOST_PART)
            parts = np.clip(parts - scale * (scale @ (parts - 1)), LEAST_PART, MOST_PART)
            mean += 2 * step / (STEPS * (STEPS + 1)) * parts
        return {**self.start, **dict(zip(FITTED, map(float, mean * weights), strict=True))}


# ---- what is printed


def main() -> int:
    """Fit, leave each song out once, and print; 1 where today's table agrees less than is aimed at."""
    parser = parser_of("Fit the arranger's weights to songs that are fingered by hand.", ROUNDS)
    parser.add_argument(
        "--tabs", type=Path, default=TABS, help="a folder of songs with pins (default: expert_tabs)"
    )
    options = asked(parser)
    tabs = tabs_of(options.tabs)
    if options.short:
        tabs = [tab for tab in tabs if tab.name in SHORT_TABS]
    counted("notes written by hand", sum(len(tab.written) for tab in tabs))
    teacher = Teacher()
    before, after = _left_out(teacher, tabs, options.rounds)
    table = teacher.fitted(tabs, rounds=options.rounds)
    print("\nWhat all songs together teach:\n\n| weight | today | fitted |\n|---|---|---|")
    for name in FITTED:
        print(f"| {name} | {COSTS[name]:.2f} | {table[name]:.2f} |")
    aims = Aims(judged=not options.short)
    print(f"\n  {'strings struck and shapes as by hand in songs left out, %':<62} {100 * after.score:8.3f}")
    aims.say("strings struck and shapes as by hand today, %", 100 * before.score, least=LEAST_AGREEMENT)
    return aims.exit_code


def _left_out(teacher: Teacher, tabs: Sequence[Tab], rounds: int) -> tuple[Agreement, Agreement]:
    """Print how each song agrees by today's table and by the one that the others teach; return both sums."""
    sums = Agreement(), Agreement()
    print("\nString and fret, rolled or not, strings struck, shape of rolls, %\n")
    print("| song | notes | today | | | | left out | | | |\n|" + "---|" * 10)
    for tab in tabs:
        others = [other for other in tabs if other is not tab]
        tables = teacher.start, teacher.fitted(others, rounds=rounds)
        each = [teacher.agreement(tab, table) for table in tables]
        for total, one in zip(sums, each, strict=True):
            total.add(one)
        print(f"| {tab.name} | {each[0].notes} | {each[0]} | {each[1]} |", flush=True)
    print(f"| all | {sums[0].notes} | {sums[0]} | {sums[1]} |")
    return sums


if __name__ == "__main__":
    sys.exit(main())
